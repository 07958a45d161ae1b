"""The documents agree with the code: commands, files and names that they mention exist."""

import ast
import pkgutil
import re
import subprocess
from pathlib import Path

import pytest

from protect import ranges
from replay.cli import main
from replay.settings.file import SECTIONS
from replay.trace import COLUMNS
from tests.house.test_floors import FLOORS
from tests.support.command import lubetrip

ROOT = Path(__file__).parents[2]


def read(name: str) -> str:
    """Return a document."""
    return (ROOT / name).read_text(encoding="utf-8")


README, DEVELOPERS = read("README.md"), read("DEVELOPERS.md")
GUIDES = {path.stem: path.read_text(encoding="utf-8") for path in (ROOT / "replay" / "guides").glob("*.md")}
DOCUMENTS = (
    "README.md",
    "DEVELOPERS.md",
    "protect/README.md",
    "fixtures/README.md",
    *(f"replay/guides/{name}.md" for name in sorted(GUIDES) if "](" in GUIDES[name] and name != "changes"),
    "firmware_ref/README.md",
    "tests/README.md",
    "tests/OUTSIDE.md",
    "tests/RESULTS.md",
)
HOW_TO_ADD = {
    *(f"protect/{name}.py" for name in ("table", "conditions", "ranges")),
    *(
        f"replay/{room}/__init__.py"
        for room in (
            "cli",
            "drawing",
            "library",
            "measured",
            "physics",
            "report",
            "score",
            "settings",
            "triage",
            "tuning",
        )
    ),
    "tests/proof/__init__.py",
    "tests/support/hostile.py",
}
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "LICENSE",
    "protect",
    "firmware_ref",
    "replay",
    "tests",
    "fixtures",
}


def test_every_command_stands_in_the_readme_and_every_command_there_exists() -> None:
    """Catches a command nobody hears of, and one that was renamed under its documentation."""
    assert set(re.findall(r"`lubetrip ([\w-]+)", README)) == set(main.commands)


def test_the_first_two_shell_blocks_are_the_main_job_and_the_tests() -> None:
    """Catches a README whose commands are no longer those that are checked on a clean checkout."""
    blocks = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)

    assert len(blocks) == 2
    assert "lubetrip score fixtures" in blocks[0]
    assert "-m pytest" in blocks[1]
    assert "README.md" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "caution",
    ["not a certified safety device", "never the only protection", "Local codes", "Never defeat a factory safety"],
)
def test_the_readme_warns(caution: str) -> None:
    """Catches a caution that was edited away."""
    assert caution.lower() in README.lower()


def test_columns_and_labels_of_the_data_stand_in_their_guide() -> None:
    """Catches a trace column or a label that only the source knows."""
    for name in (*COLUMNS, "must_trip", "ride_through", "undecided", "earliest_s", "deadline_s", "library.toml"):
        assert name in GUIDES["libraries"], name


def test_the_readme_is_read_in_a_minute_and_leads_to_every_guide() -> None:
    """Catches a first page that grows until nobody reads it, and a guide that nobody is sent to."""
    assert len(README.splitlines()) <= 170
    assert README.count("![") == 4
    for name in GUIDES:
        assert f"(replay/guides/{name}.md)" in README, name


@pytest.mark.parametrize("name", sorted(GUIDES))
def test_a_guide_is_printed_by_its_name(name: str) -> None:
    """Catches a guide that the command does not find, or prints otherwise."""
    assert lubetrip("help", name).stdout == GUIDES[name]
    assert re.search(
        rf"^{name} +{re.escape(GUIDES[name].splitlines()[0].lstrip('# '))}$", lubetrip("help").stdout, re.MULTILINE
    )


def test_every_key_stands_in_the_demo_settings() -> None:
    """Catches a settings key without an example."""
    text = (ROOT / "fixtures" / "settings.toml").read_text(encoding="utf-8")
    for section, keys in SECTIONS.items():
        assert f"[{section}]" in text
        for key in keys:
            assert re.search(rf"^{key} = ", text, re.MULTILINE), key


@pytest.mark.parametrize("name", DOCUMENTS)
def test_files_that_are_mentioned_exist(name: str) -> None:
    """Catches a path that moved away from under its mention, in a command, in a link or by itself."""
    text = read(name)
    places = ROOT, (ROOT / name).parent
    mentioned = set(re.findall(r"`([a-z][\w.-]*/[\w./-]*(?:\.\w+|/))(?:::\w+)?`", text)) - {"site/settings.toml"}
    mentioned |= {link.partition("#")[0] for link in re.findall(r"\]\(([^):]+)\)", text)}

    assert mentioned
    for file in mentioned:
        assert any((place / file).exists() for place in places), file
    for module in re.findall(r"python -m ((?:protect|replay|firmware_ref|tests)[\w.]*)", text):
        path = ROOT / module.replace(".", "/")
        assert path.with_suffix(".py").exists() or (path / "__main__.py").exists(), module


def test_python_paths_that_are_mentioned_exist() -> None:
    """Catches a function that moved away from under its mention, and a new path among the changes that is old already."""
    changes = GUIDES["changes"]
    paths = set(re.findall(r"`(replay(?:\.\w+)+)`", README))
    for old, new in re.findall(r"^\| (`replay.*) \| (`replay.*) \|$", changes, re.MULTILINE):
        first, *others = re.findall(r"`([\w.]+)`", new)
        if new.endswith("the same names"):
            others = [f".{name.rpartition('.')[2]}" for name in re.findall(r"`([\w.]+)`", old)]
            paths |= {f"{first}{name}" for name in others}
        else:
            paths |= {first} | {f"{first.rpartition('.')[0]}{name}" for name in others}

    assert len(paths) > 40
    for path in paths:
        pkgutil.resolve_name(path)


def test_the_page_for_developers_is_short() -> None:
    """Catches a page that grows until nobody reads it: what is about one folder stands at its head."""
    assert len(DEVELOPERS.encode()) <= 8192


def test_the_map_for_developers_is_that_of_the_floors() -> None:
    """Catches a room that is missing from the map, or drawn on another floor than the one that the imports keep."""
    floors = DEVELOPERS.partition("```\nroof")[2].partition("```")[0]
    levels = [
        set(re.findall(r"\b(replay\.\w+|protect|firmware_ref)(?=$|,|  )", "  " + part, re.MULTILINE))
        for part in re.split(r"^\d", floors, flags=re.MULTILINE)
    ]

    assert levels == [*reversed(FLOORS)]


def test_how_to_add_something_stands_where_it_is_added() -> None:
    """Catches a paragraph that was lost when its folder was rewritten, and one that sends the reader astray."""
    files = [path for room in ("protect", "replay", "tests") for path in (ROOT / room).rglob("*.py")]
    heads = {
        path: ast.get_docstring(ast.parse(text)) for path in files if "How to add" in (text := path.read_text("utf-8"))
    }
    told = {str(path.relative_to(ROOT)): head for path, head in heads.items() if head and "How to add" in head}

    assert set(told) >= HOW_TO_ADD
    for where, head in told.items():
        for name in re.findall(r"\b(?:protect|replay|tests|fixtures)/[\w/]+\.\w+", head):
            assert (ROOT / name).exists(), (where, name)


def test_bounds_told_to_firmware_people_are_those_of_the_ranges() -> None:
    """Catches a bound that is proved for other ranges than the ones admitted."""
    assert max(row[3] for row in (*ranges.SETTINGS, *ranges.INPUTS)) < 2**30
    assert "2^30" in DEVELOPERS


def test_the_top_level_holds_what_was_agreed_and_nothing_else() -> None:
    """Catches a new folder at the top, where a newcomer has to guess what it is for."""
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.split(
        "\n"
    )
    top = {name.split("/")[0] for name in listed if name and not name.startswith(".")}

    assert top == TOP_LEVEL
