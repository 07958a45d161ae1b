"""Driving a port: one that differs in one word is told where, one that does not answer is refused."""

import dataclasses
import functools
import hashlib
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

from replay.cli import main
from replay.port import conform as driver
from replay.port import links
from replay.port.coverage import wanted
from replay.port.vectors import CASE, CHECK, END, TICKS, Tick, Vectors, line
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


@functools.cache
def few() -> Vectors:
    """Return the vectors with their first cases alone: for what does not hang on how many steps there are."""
    return dataclasses.replace(vector_set(), cases=vector_set().cases[:5])


@pytest.fixture
def few_file(folder: Path) -> Path:
    """Return a file with those."""
    path = folder / "few.txt"
    path.write_text(few().text())
    return path


def faulty(folder: Path, plant: str) -> str:
    """Return the command of a faulty port."""
    program = folder / "faulty.py"
    program.write_text(FAULTY.format(root=str(ROOT), plant=plant))
    return f"{sys.executable} {program}"


def step_of(steps: int) -> tuple[int, int, Tick]:
    """Return (number of the case, of its tick, the tick) of a step counted over all cases, each from 1."""
    for number, case in enumerate(vector_set().cases, start=1):
        if steps <= len(case.ticks):
            return number, steps, case.ticks[steps - 1]
        steps -= len(case.ticks)
    raise AssertionError


def run_conform(*arguments: str | Path) -> Result:
    """Run the command in this process."""
    return CliRunner().invoke(main, ["conform", *map(str, arguments)])


def test_the_command_writes_both_forms(folder: Path) -> None:
    """Catches a command that writes one form only, or another set than the tests use."""
    done = CliRunner().invoke(main, ["vectors", str(folder / "out")])

    assert done.exit_code == 0, done.output
    assert (folder / "out" / "vectors.txt").read_text() == vector_set().text()
    assert (folder / "out" / "vectors.bin").read_bytes() == vector_set().binary()
    assert vector_set().digest in done.output
    assert f"{len(wanted())} of {len(wanted())} rows" in done.output


def test_the_command_refuses_a_file_in_the_way(folder: Path) -> None:
    """Catches a traceback where OUT is a file."""
    (folder / "out").write_text("mine")
    done = CliRunner().invoke(main, ["vectors", "out"])

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
    assert record["differences"] == []
    assert record["vectors"]["digest"] == whole.digest
    records, seals = (
        sum(e.asked.split()[0] in driver.OFFERS[kind][1] for e in whole.exchanges) for kind in driver.OFFERS
    )
    counts = {"steps": whole.steps, "checks": len(whole.checks), "ticks": 60, "records": records, "seals": seals}
    assert record["compared"] == counts
    assert min(counts.values()) >= 60
    assert (record["port"]["link"], record["port"]["name"]) == (REFERENCE_PORT, "lubetrip cpython")


def test_the_record_is_dated_in_its_name_and_in_itself(few_file: Path) -> None:
    """Catches records that overwrite each other or cannot be told apart by their date."""
    run_conform("--port", REFERENCE_PORT, "--vectors", few_file)
    (record,) = Path.cwd().glob("conform-*Z.json")

    assert json.loads(record.read_text())["date"].replace("-", "").replace(":", "").startswith(record.stem[8:-1])


def test_the_c_port_conforms(folder: Path, text_file: Path) -> None:
    """Catches a C port that only a test harness of its own finds right."""
    done = run_conform("--port", build_port(folder), "--vectors", text_file)

    assert done.exit_code == 0, done.output
    assert "port: lubetrip C99" in done.output
    assert f"{vector_set().steps} steps, {len(vector_set().checks)} settings checks, 72 tick" in done.output


def test_stops_at_the_first_difference_and_shows_it(folder: Path, text_file: Path) -> None:
    """Catches a run that goes on after a difference, or tells of it without tick, inputs, expected and got."""
    plant = "if self.steps == 30 and line.startswith('step'): answer = answer.replace('done ', 'done 1', 1)"
    done = run_conform("--port", faulty(folder, plant), "--vectors", text_file, "--record", "r.json")
    record = json.loads(Path("r.json").read_text())
    number, count, tick = step_of(30)

    assert done.exit_code == 1
    assert record["compared"]["steps"] == 29
    assert f"case {number} (" in done.output
    assert f"), tick {count}" in done.output
    assert "look at 5. table" in done.output
    assert f"oil_pressure {tick.inputs[3]}" in done.output
    assert f"state: expected {tick.state[0]}, got 1{tick.state[0]}" in done.output
    assert record["result"] == "different"
    (told,) = record["differences"]
    assert told["expected"].split()[1] == str(tick.state[0])
    assert told["inputs"]["elapsed"] == tick.inputs[0]
    assert told["settings"]["trip_delay"] == vector_set().cases[number - 1].settings[3]
    before = (
        vector_set().cases[number - 1].ticks[count - 2].state if count > 1 else vector_set().cases[number - 1].start
    )
    assert list(told["before"].values()) == list(before)


@pytest.mark.parametrize(
    ("plant", "shows"),
    [
        ("if line.startswith('set '): answer += ' 0'", "power-up"),
        ("if line.startswith('ticks'): answer = 'elapsed 0'", "tick difference"),
        (
            "if line.startswith('check') and 'd 5' in answer: answer = 'checked -1 0 0 0'",
            "first_fault: expected 5, got -1",
        ),
        ("if self.steps == 9: answer = 'error no'", "expected `done` and 25 numbers, and no other line"),
        (
            "if self.steps == 9: answer = 'integral 7\\n' + answer",
            "expected `done` and 25 numbers, and no other line",
        ),
        ("if self.steps == 9: answer += '\\n' + answer", "what was wanted in answer to the line before"),
        ("if self.steps == 9: answer = ''", "(an empty line)"),
        ("if self.steps == 9: answer = answer.rpartition(' ')[0]", "24 numbers after `done`, 25 expected"),
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
            "status 3; accepted: a port that answers every line; asked at case 1 (",
        ),
        (
            "if self.steps == 5: time.sleep(60)",
            "), tick 5: step ",
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
    monkeypatch.setattr(links, "TIMEOUT_S", 3.0)
    done = run_conform("--port", faulty(folder, plant), "--vectors", text_file)

    assert done.exit_code == 2
    assert says in done.output
    assert list(Path.cwd().glob("conform-*")) == []


def test_boot_talk_is_passed_over(folder: Path, few_file: Path) -> None:
    """Catches a driver that gives up on a board which greets before it answers."""
    plant = "if line.startswith('hello'): answer = 'boot 1.0\\nready\\n' + answer"

    assert run_conform("--port", faulty(folder, plant), "--vectors", few_file).exit_code == 0


def test_a_port_without_a_tick_difference_is_told_apart(folder: Path, few_file: Path) -> None:
    """Catches a run that calls a port identical in every word and leaves out that its clock was not looked at."""
    plant = "if line.startswith('hello'): answer = 'port 0 no clock'"
    done = run_conform("--port", faulty(folder, plant), "--vectors", few_file)

    assert done.exit_code == 0
    assert "The port offers no tick difference" in done.output


def test_a_port_without_a_settings_check_is_told_apart(folder: Path, few_file: Path) -> None:
    """Catches a record that claims checks which the port does not offer."""
    plant = "if line.startswith('check'): answer = 'none'"
    done = run_conform("--port", faulty(folder, plant), "--vectors", few_file, "--record", "r.json")
    record = json.loads(Path("r.json").read_text())

    assert done.exit_code == 0
    assert record["compared"]["checks"] == 0
    assert record["settings_check"] == "not offered by the port"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([], "exactly one port is needed"),
        (["--port", "x", "--serial", "y"], "exactly one port is needed"),
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


def test_a_board_on_a_serial_line_is_driven_the_same_way(folder: Path, few_file: Path) -> None:
    """Catches a serial link that differs from the pipe: the same port behind a pseudo-terminal."""
    pytest.importorskip("serial", reason="pyserial is not installed")
    port_side, device = pty.openpty()
    tty.setraw(port_side)
    tty.setraw(device)
    board = subprocess.Popen([build_port(folder)], stdin=port_side, stdout=port_side, close_fds=True)
    try:
        done = run_conform("--serial", os.ttyname(device), "--vectors", few_file, "--record", "r.json")
    finally:
        board.kill()
        board.wait()
        os.close(port_side)
        os.close(device)

    assert done.exit_code == 0, done.output
    assert json.loads(Path("r.json").read_text())["compared"]["steps"] == few().steps


def test_goes_on_with_the_next_case_when_told_to(folder: Path, text_file: Path) -> None:
    """Catches a run that tells of one wrong place only, or counts what follows from a difference as more of them."""
    plant = "if line.startswith('step') and self.steps > 20: answer = answer.replace('done ', 'done 1', 1)"
    done = run_conform("--port", faulty(folder, plant), "--vectors", text_file, "--record", "r.json", "--keep-going")
    record = json.loads(Path("r.json").read_text())

    assert done.exit_code == 1
    cases = len(vector_set().cases) - step_of(21)[0] + 1  # and what leads to questions on records takes steps too
    assert cases < record["difference_count"] < cases + 100
    assert len(record["differences"]) == driver.MOST_SHOWN
    assert record["compared"]["checks"] == len(vector_set().checks)


@pytest.mark.parametrize(
    ("plant", "shows"),
    [
        ("if line.startswith('save'): answer = answer[:-1] + '0'", "crc_complement: expected"),
        ("if line.startswith('save'): answer = answer[:14] + '0' + answer[15:]", "  settings_crc: expected"),
        ("if line.startswith('save'): answer = 'saved ' + answer[6:].upper()", "lower case"),
        ("if line.startswith('save'): answer = answer[:-2]", "look at protect/saved.py"),
        (
            "if line.startswith('recall') and answer.startswith('recalled -1'): answer = 'recalled 0' + answer[11:]",
            "number: expected -1, got 0",
        ),
        ("if line.strip() == 'next 65535': answer = 'next 65536'", "number: expected 0, got 65536"),
        ("if answer == 'holds 0': answer = 'holds 1'", "holds: expected 0, got 1"),
        ("if line.startswith('sealed'): answer += '1'", "look at the seal"),
        *(
            (
                "if line.strip() == 'seal': answer = ' '.join(w if n != PLACE else str(int(w) & MASK) "
                "for n, w in enumerate(answer.split()))".replace("PLACE", place).replace("MASK", mask),
                "on records and seals",
            )
            for place, mask in (("3", "0xFFFFF"), ("4", "0x1FFFFFF"))  # too narrow for the largest sums alone
        ),
    ],
)
def test_a_wrong_record_or_seal_is_a_difference(plant: str, shows: str, folder: Path, few_file: Path) -> None:
    """Catches a run that compares the bare step alone, of all that is shipped."""
    done = run_conform("--port", faulty(folder, plant), "--vectors", few_file)

    assert done.exit_code == 1, done.output
    assert shows in done.output


def test_a_reset_that_comes_late_points_to_the_conditions(folder: Path, text_file: Path) -> None:
    """Catches a pointer to the timers where the trip memory differs only because no row of the table had its effect."""
    program = folder / "late.py"
    program.write_text(
        f"import sys\nsys.path.insert(0, {str(ROOT)!r})\n"
        "import inspect\nfrom protect import conditions\n"
        "source = inspect.getsource(conditions.follow_reset).replace('>= settings[RESET_HOLD]', '> settings[RESET_HOLD]')\n"
        "exec(source, vars(conditions))\n"
        "from firmware_ref import python_port\npython_port.main()\n"
    )
    done = run_conform("--port", f"{sys.executable} {program}", "--vectors", text_file)

    assert done.exit_code == 1, done.output
    assert "memory_left: expected" in done.output
    assert "look at 4. conditions" in done.output


def test_a_port_without_records_and_seals_is_told_apart(folder: Path, few_file: Path) -> None:
    """Catches a record that claims what was not compared, and a run that asks a port for what it has not."""
    words = tuple(word for _, some in driver.OFFERS.values() for word in some)
    plant = f"if line.split()[0] in {words!r}: answer = 'none'"
    done = run_conform("--port", faulty(folder, plant), "--vectors", few_file, "--record", "r.json")
    record = json.loads(Path("r.json").read_text())

    assert done.exit_code == 0, done.output
    assert "offers no saved records" in done.output
    assert "offers no sealed step" in done.output
    assert (record["saved_record"], record["sealed_step"]) == ("not offered by the port",) * 2


def test_the_port_is_asked_what_it_is_made_of(folder: Path, few_file: Path) -> None:
    """Catches a record of a target that was made from another logic than the vectors, and does not say so."""
    plant = "if line.strip() == 'logic': answer = 'logic ' + 'ab' * 32\n        if line.strip() == 'build': answer = 'build cc -O9'"
    done = run_conform(
        "--port", faulty(folder, plant), "--vectors", few_file, "--record", "r.json", "--binary", few_file
    )
    record = json.loads(Path("r.json").read_text())

    assert "It was made from another logic" in done.output
    assert record["port"]["says"] == {"logic": "ab" * 32, "settings": None, "build": "cc -O9"}
    assert record["port"]["binary"] == hashlib.sha256(few_file.read_bytes()).hexdigest()
    assert record["elapsed_s"] >= 0
    assert record["tool"]


def test_answers_that_were_made_on_the_target_are_compared(folder: Path, text_file: Path) -> None:
    """Catches a form without a line to the host that compares less, or misses a wrong word."""
    assert run_conform("--questions", "q.txt", "--vectors", text_file).exit_code == 0
    said = subprocess.run(
        [build_port(folder)], input=Path("q.txt").read_text(), capture_output=True, text=True, check=True, timeout=60
    ).stdout
    Path("a.txt").write_text("boot\n" + said)
    good = run_conform("--answers", "a.txt", "--vectors", text_file, "--record", "r.json")
    lines = said.splitlines()
    cases = vector_set().cases
    number = next(n for n, case in enumerate(cases) if case.settings == cases[4].settings)
    case = cases[number]
    at = Path("q.txt").read_text().splitlines().index(line("set", case.settings)) + 1
    at = next(n for n in range(at, len(lines)) if lines[n].startswith("done"))
    lines[at] = re.sub(r"\d+$", "7", lines[at])
    Path("a.txt").write_text("\n".join(lines))
    bad = run_conform("--answers", "a.txt", "--vectors", text_file)
    Path("a.txt").write_text("\n".join(lines[:-9]))
    short = run_conform("--answers", "a.txt", "--vectors", text_file)

    assert good.exit_code == 0, good.output
    assert json.loads(Path("r.json").read_text())["compared"]["steps"] == vector_set().steps
    assert bad.exit_code == 1
    assert f"case {number + 1} (" in bad.output
    assert short.exit_code == 2
    assert "one line for each question" in short.output


def test_the_bits_of_a_word_have_names() -> None:
    """Catches flags and causes that a porter has to take apart by hand."""
    assert driver.bit_names("flags", 2 | 64) == " (reset_held, 2 resets)"
    assert driver.bit_names("cause", 3 | 1 << 18) == " (oil stuck)"
    assert driver.bit_names("conditions", 1 | 1 << 25) == " (running, late)"
    assert driver.bit_names("trips", 3) == ""


def test_the_readme_names_every_line_of_the_protocol_and_of_the_vectors() -> None:
    """Catches a protocol or a form of the vectors that goes on without its specification."""
    text = (ROOT / "firmware_ref" / "README.md").read_text()
    rows = [row for row in text.splitlines() if row.startswith("| `") and "` | `" in row]
    asked = {row.split("`")[1].split()[0] for row in rows}
    plain = re.findall(r"^    (\S+)", text.partition("**Plain form**")[2], re.MULTILINE)
    marks = re.findall(r"^\| `(0x\w+)`", text, re.MULTILINE)

    assert {
        "hello",
        "check",
        "ticks",
        "set",
        "step",
        "save",
        "recall",
        "next",
        "seal",
        "flip",
        "sealed",
        "logic",
        "bye",
    } <= asked
    assert " ".join(plain) == "lubetrip-vectors logic case settings state step check ticks ask answer digest"
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


def test_a_wrong_answer_to_a_settings_check_is_told_by_the_name_of_its_place() -> None:
    """Catches names that stand beside other numbers than their own."""
    assert driver.CHECK_NAMES == ("first_fault", "slope", "percent_scale", "reload_level")
