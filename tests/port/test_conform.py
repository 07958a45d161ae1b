"""Driving a port: one that differs in one word is told where, one that does not answer is refused."""

import json
import os
import pty
import re
import subprocess
import sys
import tty
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from replay.cli.firmware import conform, vectors
from replay.port import conform as driver
from replay.port.coverage import wanted
from replay.port.vectors import CASE, CHECK, END, TICKS
from tests.support.toolchain import REFERENCE_PORT, ROOT, build_port, vector_set

pytestmark = pytest.mark.slow("builds the vectors, or goes through all of them")

# A port program that is the reference but for one change, planted where PLANT stands.
FAULTY = """
import sys
sys.path.insert(0, {root!r})
import time
from firmware_ref import python_port
class Port(python_port.line_port.Port):
    steps = 0
    def answer(self, line):
        answer = super().answer(line)
        self.steps += line.startswith("step")
        {plant}
        return answer
python_port.line_port.Port = Port
python_port.main()
"""


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Work in an empty folder, since records go where the command is run."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    return tmp_path


@pytest.fixture
def text_file(folder: Path) -> Path:
    """Return a file with the vectors in plain form."""
    path = folder / "vectors.txt"
    path.write_text(vector_set().text())
    return path


def faulty(folder: Path, plant: str) -> str:
    """Return the command of a faulty port."""
    program = folder / "faulty.py"
    program.write_text(FAULTY.format(root=str(ROOT), plant=plant))
    return f"{sys.executable} {program}"


def run_conform(*arguments: str | Path) -> Result:
    """Run the command in this process."""
    return CliRunner().invoke(conform, list(map(str, arguments)))


def test_the_command_writes_both_forms(folder: Path) -> None:
    """Catches a command that writes one form only, or another set than the tests use."""
    done = CliRunner().invoke(vectors, [str(folder / "out")])

    assert done.exit_code == 0, done.output
    assert (folder / "out" / "vectors.txt").read_text() == vector_set().text()
    assert (folder / "out" / "vectors.bin").read_bytes() == vector_set().binary()
    assert vector_set().digest in done.output
    assert f"{len(wanted())} of {len(wanted())} rows" in done.output


def test_the_command_refuses_a_file_in_the_way(folder: Path) -> None:
    """Catches a traceback where OUT is a file."""
    (folder / "out").write_text("mine")
    done = CliRunner().invoke(vectors, ["out"])

    assert (done.exit_code, (folder / "out").read_text()) == (2, "mine")
    assert done.output.startswith("lubetrip: out: cannot be made")


def test_the_reference_conforms_to_itself(text_file: Path) -> None:
    """Catches a protocol that the reference itself does not speak; the record has to say what was compared."""
    done = run_conform("--port", REFERENCE_PORT, "--vectors", text_file, "--record", "r.json")
    record = json.loads(Path("r.json").read_text())
    whole = vector_set()

    assert done.exit_code == 0, done.output
    assert "Identical in every word." in done.output
    assert record["result"] == "identical"
    assert record["difference"] is None
    assert record["vectors"]["digest"] == whole.digest
    assert record["compared"] == {"steps": whole.steps, "checks": len(whole.checks), "ticks": 60}
    assert record["port"] == {"link": REFERENCE_PORT, "name": "lubetrip cpython"}


def test_the_record_is_dated_in_its_name_and_in_itself(text_file: Path) -> None:
    """Catches records that overwrite each other or cannot be told apart by their date."""
    run_conform("--port", REFERENCE_PORT, "--vectors", text_file)
    (record,) = Path.cwd().glob("conform-*Z.json")

    assert json.loads(record.read_text())["date"].replace("-", "").replace(":", "").startswith(record.stem[8:-1])


def test_the_c_port_conforms(folder: Path, text_file: Path) -> None:
    """Catches a C port that only a test harness of its own finds right."""
    done = run_conform("--port", build_port(folder), "--vectors", text_file)

    assert done.exit_code == 0, done.output
    assert "port: lubetrip C99" in done.output
    assert f"{vector_set().steps} steps, {len(vector_set().checks)} settings checks, 60 tick" in done.output


def test_stops_at_the_first_difference_and_shows_it(folder: Path, text_file: Path) -> None:
    """Catches a run that goes on after a difference, or tells of it without tick, inputs, expected and got."""
    plant = "if self.steps == 30 and line.startswith('step'): answer = answer.replace('done ', 'done 1', 1)"
    done = run_conform("--port", faulty(folder, plant), "--vectors", text_file, "--record", "r.json")
    record = json.loads(Path("r.json").read_text())
    tick = vector_set().cases[1].ticks[5]

    assert done.exit_code == 1
    assert record["compared"]["steps"] == 29
    assert "case 2 (cut_out at its most), tick 6" in done.output
    assert f"oil_pressure {tick.inputs[3]}" in done.output
    assert f"state: expected {tick.state[0]}, got 1{tick.state[0]}" in done.output
    assert record["result"] == "different"
    assert record["difference"]["expected"].split()[1] == str(tick.state[0])
    assert record["difference"]["inputs"]["elapsed"] == tick.inputs[0]


@pytest.mark.parametrize(
    ("plant", "shows"),
    [
        ("if line.startswith('set '): answer += ' 0'", "power-up"),
        ("if line.startswith('ticks'): answer = 'elapsed 0'", "tick difference"),
        (
            "if line.startswith('check') and 'd 5' in answer: answer = 'checked -1 0 0 0'",
            "first_fault: expected 5, got -1",
        ),
        ("if self.steps == 9: answer = 'error no'", "`done` and 25 numbers are wanted, and no other line"),
        (
            "if self.steps == 9: answer = 'integral 7\\n' + answer",
            "`done` and 25 numbers are wanted, and no other line",
        ),
        ("if self.steps == 9: answer += '\\n' + answer", "what was wanted in answer to the line before"),
        ("if self.steps == 9: answer = ''", "(an empty line)"),
        ("if self.steps == 9: answer = answer.rpartition(' ')[0]", "24 numbers after `done`, 25 are wanted"),
        ("if self.steps == 9: answer = answer.replace(' ', ' x')", "is no whole number in plain digits"),
    ],
)
def test_any_wrong_answer_is_a_difference(plant: str, shows: str, folder: Path, text_file: Path) -> None:
    """Catches a comparison that looks at steps only, lets a short or foreign answer pass, or shows it as lost numbers."""
    done = run_conform("--port", faulty(folder, plant), "--vectors", text_file)

    assert done.exit_code == 1, done.output
    assert shows in done.output
    assert "got nothing" not in done.output


@pytest.mark.parametrize(
    ("plant", "says"),
    [
        (
            "if self.steps == 5: sys.exit(3)",
            "status 3; accepted: a port that answers every line; asked at case 1 (cut_out",
        ),
        (
            "if self.steps == 5: time.sleep(60)",
            "a line for every line; asked at case 1 (cut_out at its least), tick 5: step ",
        ),
        ("if line.startswith('hello'): answer = 'what?'", 'heard "what?", wanted port TICK_BITS NAME'),
        ("if line.startswith('hello'): answer = 'port 16 small'", "no width of a tick counter; accepted: 0, 30, 32"),
        ("if line.startswith('hello'): answer = 'what?\\n' * 200", "no answer to hello"),
    ],
)
def test_a_port_that_does_not_answer_is_refused(
    plant: str, says: str, folder: Path, text_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a run that hangs, a traceback, a message that leaves out where, and a record of a run that was none."""
    monkeypatch.setattr(driver, "TIMEOUT_S", 3.0)
    done = run_conform("--port", faulty(folder, plant), "--vectors", text_file)

    assert done.exit_code == 2
    assert says in done.output
    assert list(Path.cwd().glob("conform-*")) == []


def test_boot_talk_is_passed_over(folder: Path, text_file: Path) -> None:
    """Catches a driver that gives up on a board which greets before it answers."""
    plant = "if line.startswith('hello'): answer = 'boot 1.0\\nready\\n' + answer"

    assert run_conform("--port", faulty(folder, plant), "--vectors", text_file).exit_code == 0


def test_a_port_without_a_tick_difference_is_told_apart(folder: Path, text_file: Path) -> None:
    """Catches a run that calls a port identical in every word and leaves out that its clock was not looked at."""
    plant = "if line.startswith('hello'): answer = 'port 0 no clock'"
    done = run_conform("--port", faulty(folder, plant), "--vectors", text_file)

    assert done.exit_code == 0
    assert "The port offers no tick difference" in done.output


def test_a_port_without_a_settings_check_is_told_apart(folder: Path, text_file: Path) -> None:
    """Catches a record that claims checks which the port does not offer."""
    plant = "if line.startswith('check'): answer = 'none'"
    done = run_conform("--port", faulty(folder, plant), "--vectors", text_file, "--record", "r.json")
    record = json.loads(Path("r.json").read_text())

    assert done.exit_code == 0
    assert record["compared"]["checks"] == 0
    assert record["settings_check"] == "not offered by the port"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([], "one port is wanted"),
        (["--port", "x", "--serial", "y"], "one port is wanted"),
        (["--port", "no-such-program-here"], "cannot be started"),
        (["--port", ""], "cannot be started"),
        (["--port", "'"], "No closing quotation"),
        (["--serial", "/dev/no-such-device"], "cannot be opened"),
        (["--port", "x", "--vectors", "missing.txt"], "missing.txt: these vectors cannot be read"),
        (["--port", "x", "--record", "no/such/folder/r.json"], "cannot be written"),
    ],
)
def test_bad_arguments_are_refused(arguments: list[str], says: str) -> None:
    """Catches a traceback, and a refusal that does not say what would do."""
    done = run_conform(*arguments)

    assert done.exit_code == 2
    assert done.output.startswith("lubetrip: ")
    assert says in done.output
    assert "Traceback" not in done.output


def test_a_board_on_a_serial_line_is_driven_the_same_way(folder: Path, text_file: Path) -> None:
    """Catches a serial link that differs from the pipe: the same port behind a pseudo-terminal."""
    pytest.importorskip("serial", reason="pyserial is not installed")
    port_side, device = pty.openpty()
    tty.setraw(port_side)
    tty.setraw(device)
    board = subprocess.Popen([build_port(folder)], stdin=port_side, stdout=port_side, close_fds=True)
    try:
        done = run_conform("--serial", os.ttyname(device), "--vectors", text_file, "--record", "r.json")
    finally:
        board.kill()
        board.wait()
        os.close(port_side)
        os.close(device)

    assert done.exit_code == 0, done.output
    assert json.loads(Path("r.json").read_text())["compared"]["steps"] == vector_set().steps


def test_the_readme_names_every_line_of_the_protocol_and_of_the_vectors() -> None:
    """Catches a protocol or a form of the vectors that goes on without its specification."""
    text = (ROOT / "firmware_ref" / "README.md").read_text()
    asked = {row.split("`")[1].split()[0] for row in text.splitlines() if row.startswith("| `") and "` | `" in row}
    plain = re.findall(r"^    (\S+)", text.partition("**Plain form**")[2], re.MULTILINE)
    marks = re.findall(r"^\| `(0x\w+)`", text, re.MULTILINE)

    assert {"hello", "check", "ticks", "set", "step", "bye"} <= asked
    assert " ".join(plain) == "lubetrip-vectors logic case settings state step check ticks digest"
    assert sorted(int(mark, 16) for mark in marks) == [END, CASE, CHECK, TICKS]


def test_the_porting_guide_is_two_pages_at_most() -> None:
    """Catches a guide that grows until nobody reads it: two pages are some 100 lines or 1000 words."""
    guide = (ROOT / "firmware_ref" / "README.md").read_text().partition("## Porting guide")[2].partition("\n## ")[0]

    assert 100 < len(guide.split()) <= 1000
    assert len(guide.splitlines()) <= 100


def test_the_reference_port_names_a_line_it_does_not_know() -> None:
    """Catches a port that dies on a foreign line instead of answering `error`."""
    asked = "\nwhat\nstep 1 2\nset x\nbye\nhello\n"
    done = subprocess.run(
        REFERENCE_PORT.split(), input=asked, cwd=ROOT, capture_output=True, text=True, check=True, timeout=20
    )

    assert [answer.split()[0] for answer in done.stdout.splitlines()] == ["error"] * 4 + ["bye"]
