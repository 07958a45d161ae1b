"""The command at a terminal and in a pipe: what it writes where, what it never writes over, what its help shows."""

import csv
import re
import shlex
from pathlib import Path

import click
import pytest
from click.shell_completion import ShellComplete

from replay.cli import main
from replay.cli.topics import EXAMPLES, TOPICS
from tests.conftest import entry, trace_csv
from tests.support.command import installed, lubetrip

LONG = "a-trace-with-an-id-as-long-as-those-of-loggers-are-2026-03-01"


def contents(folder: Path) -> dict[str, bytes]:
    """Return what stands in a folder."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize(
    "arguments",
    [
        ("report", "{lib}", "-o", "{lib}/library.toml"),
        ("report", "{lib}", "-o", "{lib}/settings.toml"),
        ("score", "{lib}", "--json", "{lib}/library.toml"),
        ("score", "{lib}", "--csv", "{lib}/fault.csv"),
        ("score", "{lib}", "--settings", "{lib}/mine.json", "--json", "{lib}/mine.json"),
        ("triage", "{lib}", "--csv", "{lib}/fault.csv"),
        ("triage", "{lib}/fault.csv", "--settings", "{lib}/settings.toml", "--csv", "{lib}/fault.csv"),
        ("triage", "{lib}/fault.csv", "--settings", "{lib}/settings.toml", "--csv", "{lib}/linked.csv"),
        ("show", "{lib}/fault.csv", "-o", "{lib}/fault.csv"),
        ("bench", "{lib}", "-o", "{lib}/library.toml"),
        ("compare", "{lib}/mine.json", "{lib}/mine.json", "--json", "{lib}/mine.json"),
    ],
    ids=" ".join,
)
def test_an_output_never_overwrites_an_input(arguments: tuple[str, ...], library: Path) -> None:
    """Catches a report that takes the place of the labels, the settings or a recording."""
    (library / "mine.json").write_bytes((library / "settings.toml").read_bytes())
    (library / "linked.csv").symlink_to(library / "fault.csv")
    before = contents(library)

    done = lubetrip(*[argument.format(lib=library) for argument in arguments])

    assert done.returncode == 2
    assert re.search("is an input of this command|a name that ends in", done.stderr)
    assert contents(library) == before


def test_a_report_inside_the_library_may_be_written_again(library: Path) -> None:
    """Catches a rule that refuses the second run of a nightly job."""
    for _ in range(2):
        assert lubetrip("score", library, "--json", library / "score.json").returncode == 0


def test_a_library_is_found_where_one_stands(library: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a command that wants a folder named in which it already is, or refuses the path of library.toml."""
    named = lubetrip("score", library)
    monkeypatch.chdir(library)

    for arguments in (("score",), ("score", "library.toml"), ("score", library / "library.toml")):
        done = lubetrip(*arguments)
        assert (done.returncode, done.stdout.splitlines()[0]) == (0, named.stdout.splitlines()[0])
    monkeypatch.chdir(library.parent)
    assert "library.toml" in lubetrip("score").stderr


def test_a_trace_is_named_by_its_library_and_id(library: Path, tmp_path: Path) -> None:
    """Catches an id that has to be looked up in a file by hand, and one that is nearly right without advice."""
    by_id = lubetrip("explain", library, "fault")
    assert by_id.stdout == lubetrip("explain", library / "fault.csv").stdout
    assert lubetrip("show", library, "fault", "-o", tmp_path / "f.svg").returncode == 0
    assert (tmp_path / "f.svg").exists()
    wrong = lubetrip("explain", library, "falt")
    assert (wrong.returncode, "accepted: fault" in wrong.stderr) == (2, True)


def test_the_verdict_stands_first_and_last(library: Path) -> None:
    """Catches a verdict that has to be looked for between tables."""
    lines = [line for line in lubetrip("score", library).stdout.splitlines() if line.strip()]
    assert lines[0] == "Acceptance: met, judged on the counts."
    assert lines[0] in lines[-3:]
    assert lubetrip("score", library, "-q").stdout == lines[0] + "\n"


@pytest.mark.parametrize("columns", ["80", "100", ""])
def test_an_id_stands_in_one_line(columns: str, library: Path) -> None:
    """Catches ids that are folded at the edge of a terminal, or in a pipe, where nobody finds them again."""
    text = (library / "library.toml").read_text() + entry("x", "undecided = true").replace('"x"', f'"{LONG[:38]}"')
    (library / "library.toml").write_text(text)
    (library / "x.csv").write_text(trace_csv(60, lambda s: 120.0))
    shown = lubetrip("score", library, COLUMNS=columns).stdout
    assert re.search(rf"^{LONG[:38]} .*undecided", shown, re.MULTILINE)
    assert columns or re.search(r"^upsets +none marked in this library, so .* is not known$", shown, re.MULTILINE)


def test_a_line_for_each_trace_as_csv(library: Path, tmp_path: Path) -> None:
    """Catches a table for spreadsheets that leaves a trace out, and one that is mixed with the report."""
    lubetrip("score", library, "--csv", tmp_path / "s.csv")
    piped = lubetrip("score", library, "--csv", "-").stdout
    assert piped == (tmp_path / "s.csv").read_text()
    rows = {row["id"]: row for row in csv.DictReader(piped.splitlines())}
    assert {name: row["outcome"] for name, row in rows.items()} == {"fault": "hit", "quiet": "rode_through"}
    assert float(rows["fault"]["deadline_s"]) - float(rows["fault"]["stop_s"]) == float(rows["fault"]["margin_s"])
    whole = lubetrip("score", library, "-v").stdout
    assert re.search(r"^fault .*hit", whole, re.MULTILINE)
    assert re.search(r"^quiet .*rode through", whole, re.MULTILINE)


@pytest.mark.slow("starts workers or commands as processes of their own")
def test_colours_come_and_go_by_the_usual_switches(library: Path) -> None:
    """Catches escapes in a file, and a verdict without its colour on a terminal."""
    slow = library / "slow.toml"
    slow.write_text((library / "settings.toml").read_text().replace('trip_delay = "60 s"', 'trip_delay = "29 min"'))
    red = "\x1b[1;31mAcceptance: NOT MET"
    assert "\x1b" not in installed("score", library, "--settings", slow).stdout
    forced = installed("score", library, "--settings", slow, FORCE_COLOR="1").stdout
    assert red in forced
    assert "\x1b[1;31mmissed" in forced
    assert "\x1b[3" not in installed("score", library, "--settings", slow, FORCE_COLOR="1", NO_COLOR="1").stdout


def every_command() -> dict[str, click.Command]:
    """Return the commands by the words that call them, commands of a group too."""
    named: dict[str, click.Command] = {}
    for name, command in main.commands.items():
        named[name] = command
        named |= {f"{name} {under}": its for under, its in getattr(command, "commands", {}).items()}
    return named


@pytest.mark.parametrize("name", every_command())
def test_every_command_has_a_topic_and_examples_that_it_takes(name: str) -> None:
    """Catches a command without an example, one in no topic of the help, and an example with an option that is gone."""
    assert EXAMPLES[name]
    assert any(name in names for names in TOPICS.values())
    for line in EXAMPLES[name]:
        words = shlex.split(line)
        command: click.Command = main
        with click.Context(main, info_name="lubetrip") as context:
            while isinstance(command, click.Group):
                command = command.commands[words.pop(0)]
            command.make_context(command.name, words, parent=context)
    assert f"lubetrip {EXAMPLES[name][0]}" in lubetrip(*name.split(), "--help").stdout


def test_the_help_lists_every_command_once_and_how_they_end() -> None:
    """Catches a command that the list by topic leaves out."""
    told = lubetrip("--help").stdout
    for name in main.commands:
        assert len(re.findall(rf"^  {name}  ", told, re.MULTILINE)) == 1, name
    assert "Exit status:" in told
    assert lubetrip("help", "exit-codes").stdout.count("\n") == told.partition("Exit status:")[2].count("  1") + 4


@pytest.mark.parametrize(
    ("arguments", "advice"),
    [
        (("shw",), "show"),
        (("score", "--setting", "x"), "--settings"),
        (("synth", "lib", "--count", "1", "--seed", "1", "--families", "suction-valve-shutt"), "suction-valve-shut?"),
        (("help", "exit-code"), "exit-codes"),
    ],
)
def test_a_name_that_is_nearly_right_is_told(arguments: tuple[str, ...], advice: str) -> None:
    """Catches a misspelt command, option or family without the nearest one, and an error in a style of its own."""
    done = lubetrip(*arguments)
    assert done.returncode == 2
    assert done.stderr.startswith("lubetrip: ")
    assert done.stderr.count("\n") == 1
    assert re.search(f"(?i)(did you mean|accepted:) .*{re.escape(advice)}", done.stderr)


def test_the_version_names_the_logic() -> None:
    """Catches a report of a field return that does not say which logic ran."""
    from replay.engine import logic_digest

    assert lubetrip("--version").stdout.strip().endswith(f"logic {logic_digest()[:16]}")


@pytest.mark.parametrize(
    ("begun", "expected"),
    [
        ("help un", ["units"]),
        ("synth made --families normal-st", ["normal-start"]),
        ("tune site --vary trip_d", ["trip_delay="]),
        ("tolerances fixtures --family speed", ["speed-low-for-a-while", "speed-ramps"]),
        ("tolerances fixtures --family slug", []),
        ("tolerances fixtures --family retrograde", []),
        ("fit machine.toml fixtures --hold-out normal-start-00000", ["normal-start-00000"]),
        ("fit machine.toml fixtures normal-start-00002", ["normal-start-00002"]),
        ("tolerances nowhere --family s", []),
        ("compa", ["compare"]),
    ],
)
def test_values_are_completed(begun: str, expected: list[str]) -> None:
    """Catches a completion that offers everything, or nothing but options."""
    *arguments, last = begun.split()
    found = ShellComplete(main, {}, "lubetrip", "_LUBETRIP_COMPLETE").get_completions(arguments, last)

    assert [item.value for item in found] == expected
