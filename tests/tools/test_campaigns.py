"""The differential campaign in short: it compares what it says, finds a planted fault and tells where."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from replay.engine import c_port
from replay.engine.c_port import firmware_folder
from tests.campaigns import confirm, differential
from tests.campaigns.runtimes import RUNNER, RuntimePort
from tests.support.toolchain import C_FOLDER, need

pytestmark = pytest.mark.slow("compiles what only it runs")


@pytest.fixture(autouse=True)
def compiler() -> None:
    """Skip, by name, what cannot run here."""
    need("cc")


def planted(folder: Path, good: str, bad: str) -> Path:
    """Return a copy of the C port with one line changed."""
    for name in c_port.PORT:
        text = (C_FOLDER / name).read_text()
        if name == "lubetrip.c":
            assert text.count(good) == 1
            text = text.replace(good, bad)
        (folder / name).write_text(text)
    return folder


def test_reference_and_c_port_agree_on_a_million_adversarial_steps() -> None:
    """Catches a difference that the vectors do not show; all states have to be met on the way."""
    found = differential.run(1_000_000, seed=11)

    assert (found.difference, found.steps, found.settings) == (None, 1_000_000, 100)
    assert found.states == {0, 1, 2, 3, 4, 5}


@pytest.mark.parametrize(
    ("good", "bad", "names"),
    [
        ("if (suction < settings[LT_SET_VACUUM]) {", "if (suction <= settings[LT_SET_VACUUM]) {", "integral"),
        ("return (least <= reading)", "return (least < reading)", "C port: fault "),
        ("whole = 100", "whole = 99", "integral_percent: reference 100, port 99"),
        ("(elapsed < 0) || ", "", "reference"),
        ("whole_part(fraction * rest)", "whole_part(fraction * rest) + 1", "C port: fault -1"),
    ],
)
def test_a_planted_fault_is_found_and_told(good: str, bad: str, names: str, tmp_path: Path) -> None:
    """Catches a campaign that compares nothing, or tells of a difference without what it takes to repeat it."""
    found = differential.run(500_000, seed=11, folder=planted(tmp_path, good, bad))

    assert found.difference is not None
    assert names in found.difference
    assert "seed 11, settings number" in found.difference
    assert "settings [" in found.difference


def test_the_command_prints_what_was_compared() -> None:
    """Catches a report without the count, or one that succeeds where the sides differ."""
    done = CliRunner().invoke(differential.command, ["differential", "--steps", "2e4", "--seed", "3"])

    assert done.exit_code == 0
    assert "compared 20000 steps with 2 settings from seed 3" in done.output
    assert "identical in every word" in done.output


RUNTIMES = {
    "wasm": ("port.lubetrip_step(...places);", "inputs[2] = 0; port.lubetrip_step(...places);"),
    "micropython": (
        'readFileSync(join(firmware, "..", "protect", name))',
        'readFileSync(join(firmware, "..", "protect", name), "utf8").replace("outputs[ALARM] = 1", "outputs[ALARM] = 0")',
    ),
}


@pytest.mark.parametrize("name", RUNTIMES)
@pytest.mark.parametrize("wrong", [False, True])
def test_a_runtime_agrees_in_every_word_unless_it_is_wrong(name: str, wrong: bool, tmp_path: Path) -> None:
    """Catches words that are lost on the way to a runtime and back, and a reference that is compared with itself."""
    need("node")
    if name == "micropython" and not (firmware_folder() / "micropython" / "node_modules").is_dir():
        pytest.skip("MicroPython is not installed: run tests/tools.sh")
    text, place = RUNNER.read_text(), "dirname(fileURLToPath(import.meta.url))"
    for good, bad in ((place, json.dumps(str(RUNNER.parent))), *([RUNTIMES[name]] if wrong else [])):
        assert text.count(good) == 1
        text = text.replace(good, bad)
    runner = tmp_path / "runtimes.mjs"
    runner.write_text(text)
    port = RuntimePort(name, runner)
    found = differential.run(3000, seed=11, port=port)
    port.close()

    assert (found.difference is not None) == wrong, found.difference


def test_the_command_fails_on_a_difference(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches exit status 0 after a difference."""
    different = differential.Found(7, 1, "step 7 of the walk", frozenset())
    monkeypatch.setattr(differential, "run", lambda *_, **__: different)
    done = CliRunner().invoke(differential.command, ["differential"])

    assert done.exit_code == 1
    assert "step 7 of the walk" in done.output


@pytest.mark.parametrize(("trip_delay", "missed"), [("120 s", False), ("600 s", True)])
def test_confirming_tells_what_slow_settings_miss_on_fresh_libraries(
    trip_delay: str, missed: bool, tmp_path: Path
) -> None:
    """Catches a confirmation that judges other settings than those given, or keeps still about a miss."""
    text = confirm.SETTINGS.read_text()
    assert text.count('trip_delay = "120 s"') == 1
    settings = tmp_path / "settings.toml"
    settings.write_text(text.replace("120 s", trip_delay, 1))
    given = ["--settings", str(settings), "--seed", "3", "--faults", "38", "--hours", "5", "--each", "0.25"]

    told = CliRunner().invoke(confirm.command, given, catch_exceptions=False).output

    assert ("missed: rotation-reversed-00000" in told) == missed
    assert " stops for nothing in " in told
