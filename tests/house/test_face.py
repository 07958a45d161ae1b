"""What `import replay` gives out: every name is there, costs nothing until it is used, and reaches what commands do."""

import ast
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

import replay
from tests import python_page

ROOT = Path(__file__).parents[2]
COMMANDS = sorted((ROOT / "replay" / "cli").glob("*.py"))
# What a command takes from a room beside functions of the face: to check its options, to find words, to write pictures.
SMALL = {
    *("check_plot", "save_plots", "save_tornado", "trace_file", "wanted", "covered", "words_of"),
    *("FAMILIES", "FIGURES", "VARIED"),  # for completion
}


@pytest.mark.parametrize("name", replay.__all__)
def test_a_name_is_what_stands_in_its_room(name: str) -> None:
    """Catches a name of a function that was moved, and one that is the name of a room, which importing that would hide."""
    thing = getattr(replay, name)

    assert thing.__name__ == name
    assert thing.__doc__
    assert name in dir(replay)
    assert not (ROOT / "replay" / name).exists()
    assert not (ROOT / "replay" / f"{name}.py").exists()


def test_an_unknown_name_is_an_attribute_error() -> None:
    """Catches a lookup that answers to anything."""
    with pytest.raises(AttributeError, match="'replay' has no attribute 'scores'"):
        replay.scores  # noqa: B018 - the very point


def test_the_names_cost_nothing_until_they_are_used() -> None:
    """Catches an import of replay that makes every command wait for numpy."""
    code = "import sys, replay; dir(replay); print(sorted(m for m in sys.modules if m.startswith('replay')), 'numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "['replay'] False"


def work_of(path: Path) -> set[str]:
    """Return what a module of the command line imports from rooms that work, not from those that only show or check."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("replay."):
            room = str(node.module).split(".")[1]
            if room not in ("cli", "ground", "display"):
                found |= {alias.name for alias in node.names}
    return found


@pytest.mark.parametrize("path", COMMANDS, ids=lambda path: path.stem)
def test_a_command_does_what_the_names_do(path: Path) -> None:
    """Catches work that a notebook cannot have: logic in a command, or a function that only a command knows."""
    assert work_of(path) <= {*replay.__all__} | SMALL


def test_every_name_of_work_is_used_by_a_command() -> None:
    """Catches a function that is given out and does what no command does, or a command that does it by itself."""
    used = set().union(*map(work_of, COMMANDS))
    types = {"Fit", "Sensitivity", "Library", "MachineFile", "MustTrip", "Settings", "Trace", "Engine", "Refusal"}

    assert {*replay.__all__} - used - types == {"engine_named", "picture", "read_trace"}


def test_the_page_is_made_of_these_docstrings() -> None:
    """Catches a page that tells of yesterday's arguments. Mend it with `python -m tests.python_page`."""
    assert python_page.names() == {*replay.__all__}
    assert python_page.PAGE.read_text(encoding="utf-8") == python_page.text()


@pytest.mark.slow("runs nearly every command's work once")
def test_the_examples_of_the_page_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches an example that went out of step with the functions, or claims what they do not find."""
    monkeypatch.chdir(tmp_path)
    exec(compile(python_page.examples(), "python.md", "exec"), {})  # noqa: S102 - the very point

    assert {path.name for path in tmp_path.iterdir()} >= {"report.html", "trace.svg", "record", "tuned", "few", "logs"}


def test_the_rooms_keep_their_documented_paths() -> None:
    """Catches a room whose face was closed when the names above were opened."""
    for path in (
        *("replay.score.score", "replay.settings.read_settings", "replay.library.read_library"),
        *("replay.engine.replay_trace", "replay.triage.run.examine_all", "replay.drawing.picture.picture"),
    ):
        module, _, name = path.rpartition(".")
        assert callable(getattr(import_module(module), name)), path
