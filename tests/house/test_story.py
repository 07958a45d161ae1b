"""The story of the guide, from a bench test to a report for the owner, is walked by its own commands, on shorter logs."""

import re
import shlex
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from replay.fitting import fitting
from tests.support.command import lubetrip
from tests.support.label_page import reviewed
from tests.support.story import write_story
from tests.support.toolchain import need

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "replay" / "guides" / "story.md").read_text(encoding="utf-8")
COMMANDS = re.findall(r"^    ((?:lubetrip|cc) .*)$", GUIDE, re.MULTILINE)
# Shorter here: options that are set otherwise, by the command.
SHORTER = {
    "fit": ["--members", "8"],
    "synth": ["--count", "26"],
    "tune": ["--quick"],
    "forecast": ["--years", "1", "--days", "2"],
}
SEEN = {
    "machine check": "Not a certified safety device",
    "fit": "solenoid-shut",
    "tune": "Chosen (no.",
    "forecast": "nuisance trips",
    "conform": "Identical in every word.",
    "triage": "OPEN NEXT: ran on",
    "record check": "the record holds, byte for byte",
}


def decide(file: str, **answers: str) -> None:
    """Write answers into a draft: each key's first line, or the one that is commented out."""
    text = Path(file).read_text(encoding="utf-8")
    for key, value in answers.items():
        section, _, name = key.rpartition("__")
        head, tail = text.split(f"[{section}]", 1)
        text = f"{head}[{section}]" + re.sub(
            rf"^(# )?{name} = .*$", f'{name} = "{value}"', tail, count=1, flags=re.MULTILINE
        )
    Path(file).write_text(text, encoding="utf-8")


def describe() -> None:
    """Say what the machine is."""
    shutil.copy("described.toml", "machine.toml")


def copy_settings() -> None:
    """Begin with the settings of the demo site."""
    shutil.copy("site/settings.toml", "my.toml")


def decide_bench() -> None:
    """Answer the draft of the bench logger."""
    decide("bench.toml", site__altitude="12 m", trace__machine="bench 2")


def decide_field() -> None:
    """Answer the draft of the loggers in the field."""
    oil = {"oil_pressure__column": "Oil disch psig", "oil_pressure__unit": "psi", "oil_pressure__reference": "gauge"}
    decide("field.toml", time__order="MDY", time__zone="America/Chicago", site__altitude="12 m", **oil)
    decide("field.toml", running__column="Motor")
    text = Path("field.toml").read_text(encoding="utf-8")
    Path("field.toml").write_text(re.sub(r"^# machine = .*$", 'machine_from = "folder"', text, flags=re.MULTILINE))


def unpack() -> None:
    """Unpack the archive for the firmware team."""
    shutil.unpack_archive("sources.zip", ".")
    for folder in ("c", "host"):
        shutil.copytree(next(Path().glob("lubetrip-*")) / folder, folder)


def review(name: str, who: str, *windows: tuple[int, int]) -> Callable[[], None]:
    """Return what a reviewer does: a window on each trace of a page, and the file saved."""

    def work() -> None:
        each = [
            (("drag", *window), ("type", "#inspection", "big end wiped"), ("key", "m"), ("key", "n"))
            for window in windows
        ]
        done = reviewed(
            Path(f"{name}.html"),
            Path(),
            ("type", "#by", who),
            *(step for steps in each for step in steps),
            ("save", "#save"),
        )
        shutil.copy(done["saved"][-1], f"{name}.json")

    return work


# What is done by hand before a command that begins so.
BY_HAND: dict[str, Callable[[], None]] = {
    "lubetrip machine check machine.toml": describe,
    "lubetrip machine check machine.toml --settings": copy_settings,
    "lubetrip import bench/": decide_bench,
    "lubetrip import field/": decide_field,
    "cc ": unpack,
}
AFTER = {
    "lubetrip label year 20250501 20250904 --page smith": review("smith", "A. Smith", (900, 1250), (900, 1240)),
    "lubetrip label year 20250501 20250904 --queue": review("doe", "J. Doe", (930, 1200), (935, 1290)),
}


@pytest.mark.slow("fits a machine, and runs every command of the story")
def test_the_story_is_walked_by_its_own_commands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a command of the story that is refused, two steps that do not meet, and a result that is another by now."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(fitting, "SCOUTING", 3)  # that a fit finds the machine, others show
    write_story(tmp_path, visits=(0, 8, 13, 17), bench_s=480.0)
    for command in COMMANDS:
        for begins, work in BY_HAND.items():
            if command.startswith(begins) and "--guess" not in command:
                work()
        program, *words = shlex.split(command)
        words = [name for word in words for name in (sorted(map(str, Path().glob(word))) if "*" in word else [word])]
        if program == "cc":
            subprocess.run([need("gcc"), *words], check=True)
            continue
        told = lubetrip(*words, *SHORTER.get(words[0], []))
        assert told.returncode in ((0, 1, 3) if words[0] in ("score", "tune") else (0,)), (command, told.stderr)
        for begins, seen in SEEN.items():
            assert seen in told.stdout or not " ".join(words).startswith(begins), (command, told.stdout)
        for begins, work in AFTER.items():
            if command.startswith(begins):
                work()

    told = lubetrip("label", "year").stdout
    assert "2 labelled" in told
    assert "2 of 2" in told


def test_the_story_leaves_no_step_out() -> None:
    """Catches a step that dropped out of the guide, which would be tested no more."""
    named = [shlex.split(command)[1] for command in COMMANDS if command.startswith("lubetrip")]
    order = [
        "machine",
        "import",
        "fit",
        "synth",
        "tune",
        "forecast",
        "export",
        "conform",
        "triage",
        "label",
        "score",
        "report",
    ]
    assert [step for step in dict.fromkeys(named) if step in order and step != "score"] == [
        step for step in order if step != "score"
    ]
    assert len(COMMANDS) > 30
