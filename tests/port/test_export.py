"""Exported settings: constants that compile, run and read back into the very same settings."""

import importlib.util
import json
import re
import runpy
import subprocess
import sys
import types
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from firmware_ref import generate
from firmware_ref.digest import layout, logic_digest
from protect import outputs, ranges, settings, signals, state, table
from replay.cli import main
from replay.ground.refusal import Refusal
from replay.port.export import export_settings
from replay.settings import Settings, read_settings
from tests.support.exported import FORMS, read_exported
from tests.support.toolchain import C_FOLDER, WARNINGS, compiled, need

PRINTING = """
#include <stdio.h>
#include "lubetrip.h"
extern const char lubetrip_settings_digest[65];
extern const int32_t lubetrip_settings[LT_SET_SIZE];
int main(void)
{
    int place;
    puts(lubetrip_settings_digest);
    for (place = 0; place < LT_SET_SIZE; place++) {
        printf("%ld\\n", (long)lubetrip_settings[place]);
    }
    return (int)(lubetrip_first_fault(lubetrip_settings) + 1);
}
"""


@pytest.fixture
def checked(settings_file: Path) -> Settings:
    """Return the settings of the shared file."""
    return read_settings(settings_file)


def run_export(*arguments: str | Path) -> Result:
    """Run the command in this process."""
    return CliRunner().invoke(main, ["export", *map(str, arguments)])


@pytest.mark.parametrize("form", FORMS)
def test_reads_back_into_the_same_settings(form: str, checked: Settings, tmp_path: Path) -> None:
    """Catches a value in the wrong place, a lost sign or a digest of something else."""
    table = tmp_path / "table"
    table.write_text(export_settings(checked, form))

    assert read_exported(table) == (checked.values, checked.digest)


def test_a_form_that_is_not_there_is_an_error(checked: Settings) -> None:
    """Catches a table in another language than the one that was asked for."""
    with pytest.raises(ValueError, match="'rust' is not one of c, micropython, st, json"):
        export_settings(checked, "rust")


def test_the_c_table_compiles_and_holds_the_settings(checked: Settings, tmp_path: Path) -> None:
    """Catches a table that only our own reader understands."""
    (tmp_path / "settings.c").write_text(export_settings(checked, "c"))
    (tmp_path / "print.c").write_text(PRINTING)
    sources = (tmp_path / "settings.c", tmp_path / "print.c", C_FOLDER / "lubetrip.c")
    said = compiled("gcc", *WARNINGS, f"-I{C_FOLDER}", *sources, "-o", tmp_path / "print")
    assert said.returncode == 0, said.stderr
    printed = subprocess.run([tmp_path / "print"], capture_output=True, text=True, check=True).stdout.split()

    assert printed == [checked.digest, *map(str, checked.values)]


@pytest.mark.parametrize(
    ("stale", "says"),
    [
        ("unit", "another layout of the settings"),
        ("place", "another layout of the settings"),
        ("logic", "another logic"),
        ("", ""),
    ],
)
def test_a_table_made_for_something_else_does_not_compile(
    stale: str, says: str, checked: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a stale table that compiles: a unit, a place or a decision changed in the logic that it is linked with."""
    (tmp_path / "settings.c").write_text(export_settings(checked, "c"))
    if stale == "unit":
        first, *others = ranges.SETTINGS
        monkeypatch.setattr(ranges, "SETTINGS", ((first[0], "kPa", *first[2:]), *others))
    elif stale == "place":
        monkeypatch.setattr(ranges, "SETTINGS", (*ranges.SETTINGS, ("another", "ms", 0, 1)))
    elif stale == "logic":
        monkeypatch.setattr(generate, "logic_digest", lambda: "0" * 64)
    (tmp_path / "lubetrip_logic.h").write_text(generate.logic_header())
    for name in ("lubetrip.h", "lubetrip_generated.h"):
        (tmp_path / name).write_text((C_FOLDER / name).read_text())
    said = compiled("gcc", *WARNINGS, f"-I{tmp_path}", "-c", tmp_path / "settings.c", "-o", tmp_path / "settings.o")

    assert (said.returncode == 0, said.stderr == "") == (not stale, not stale)
    assert says in said.stderr


@pytest.mark.parametrize(("stale", "says"), [("LAYOUT", "another layout"), ("LOGIC", "another logic"), ("", "reached")])
def test_a_board_refuses_a_table_made_for_something_else_before_it_does_anything(
    stale: str, says: str, checked: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a board that runs on settings of another layout, which may have the right number of words."""
    table = tmp_path / "board_settings.py"
    table.write_text(
        re.sub(f'^{stale or "-"} = ".', f'{stale} = "x', export_settings(checked, "micropython"), flags=re.MULTILINE)
    )
    wiring = types.ModuleType("wiring")

    def controller(*_: object) -> None:
        raise ValueError("reached")

    monkeypatch.setattr(wiring, "Controller", controller, raising=False)
    monkeypatch.setitem(sys.modules, "wiring", wiring)
    monkeypatch.setattr("time.ticks_ms", lambda: 0, raising=False)
    for name in ("board_settings", "logic"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    monkeypatch.setattr(sys, "path", [str(tmp_path), str(generate.BOARD_LOGIC.parent), *sys.path])

    with pytest.raises(ValueError, match=says):
        runpy.run_path(str(generate.BOARD_LOGIC.with_name("main.py")))["run"]()


def test_the_c_table_lies_in_flash(checked: Settings, tmp_path: Path) -> None:
    """Catches a table that takes RAM on the target."""
    (tmp_path / "settings.c").write_text(export_settings(checked, "c"))
    built = tmp_path / "settings.o"
    said = compiled("arm-none-eabi-gcc", *WARNINGS, f"-I{C_FOLDER}", "-c", tmp_path / "settings.c", "-o", built)
    assert said.returncode == 0, said.stderr
    listed = subprocess.run([need("arm-none-eabi-nm"), built], capture_output=True, text=True, check=True).stdout

    assert [row.split()[1] for row in listed.splitlines()] == ["R", "R"]


def test_the_neutral_form_names_all_that_a_port_needs(checked: Settings) -> None:
    """Catches a port from it that decides otherwise: a row, a bit, a place or a range that is missing or in another order."""
    told = json.loads(export_settings(checked, "json"))
    bits, states = told["conditions"], told["states"]
    rows = tuple(
        (
            states[row["state"]],
            sum(bits[name] for name in row["mask"]),
            sum(bits[name] for name in row["value"]),
            states[row["next_state"]],
            told["effects"][row["effect"]],
        )
        for row in told["table"]
    )

    assert rows == table.TABLE
    assert (told["logic"], told["layout"], told["digest"]) == (logic_digest(), layout(), checked.digest)
    admitted = [row for row in told["settings"] if row["unit"] != "derived"]
    assert tuple(tuple(row[key] for key in ("name", "unit", "least", "most")) for row in admitted) == ranges.SETTINGS
    assert tuple(tuple(row.values()) for row in told["inputs"]) == ranges.INPUTS
    assert tuple(row["value"] for row in told["settings"]) == checked.values
    places = [row["name"] for row in told["settings"]]
    pairs = [(places.index(row["lower"]), places.index(row["higher"]), row["gap"]) for row in told["relations"]]
    assert tuple(pairs) == settings.RELATIONS
    assert told["state_places"]["FLAGS"] == state.FLAGS and told["state_places"]["SIZE"] == state.STATE_SIZE
    assert told["output_places"]["SIZE"] == outputs.OUTPUTS_SIZE and told["flags"]["VACUUM_SEEN"] == state.VACUUM_SEEN
    assert told["doubts"]["LATE"] == signals.LATE and told["causes"]["RESETS_CAUSE"] == state.RESETS_CAUSE
    assert told["constants"]["SLOPE_BITS"] == settings.SLOPE_BITS and told["constants"]["ONE"] == ranges.ONE


def test_the_micropython_table_is_a_module(checked: Settings, tmp_path: Path) -> None:
    """Catches a table that is no Python, or one that is no constant."""
    path = tmp_path / "board_settings.py"
    path.write_text(export_settings(checked, "micropython"))
    spec = importlib.util.spec_from_file_location("board_settings", path)
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)

    assert (checked.values, checked.digest) == (module.SETTINGS, module.DIGEST)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("name", ["x*/ int main; /*.toml", 'a"""\nimport os\n.toml', "größe.toml", "a\\u005cn.toml"])
def test_a_strange_file_name_stays_a_comment(form: str, name: str, settings_file: Path, tmp_path: Path) -> None:
    """Catches source text that the name of the settings file can write into."""
    strange = settings_file.with_name(name.replace("/", "_"))
    settings_file.rename(strange)
    text = export_settings(read_settings(strange), form)
    table = tmp_path / "table"
    table.write_text(text, encoding="ascii")

    assert read_exported(table)[0] == read_settings(strange).values
    if form == "micropython":
        compile(text, "table", "exec")
    elif form == "json":
        json.loads(text)
    else:
        assert text.count({"c": "*/", "st": "*)"}[form]) == {"c": 1, "st": 3}[form] + ranges.SETTINGS_SIZE


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("60000", "60001", "the digest does not fit the values"),
        ("60000", "99999999", "values outside what is admitted"),
        ("80000", "x", "27 values"),
    ],
)
def test_a_table_that_was_edited_is_refused(
    form: str, old: str, new: str, says: str, checked: Settings, tmp_path: Path
) -> None:
    """Catches a board that runs with values nobody checked."""
    table = tmp_path / "table"
    table.write_text(export_settings(checked, form).replace(old, new))

    with pytest.raises(Refusal, match=says):
        read_exported(table)


@pytest.mark.parametrize("form", FORMS)
def test_the_command_prints_or_writes(form: str, settings_file: Path, checked: Settings, tmp_path: Path) -> None:
    """Catches a file that differs from what is printed."""
    printed = run_export(settings_file, "--to", form)
    written = run_export(settings_file, "--to", form, "--out", tmp_path / "table")

    assert (printed.exit_code, written.exit_code) == (0, 0)
    assert printed.output == export_settings(checked, form)
    assert (tmp_path / "table").read_text() == printed.output


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["missing.toml", "--to", "c"], "missing.toml: no such settings file"),
        (["{file}", "--to", "rust"], "'rust' is not one of 'c', 'micropython', 'st', 'json'"),
        (["{file}"], "Missing option '--to'"),
        (["{file}", "--to", "c", "--out", "no/such/folder/table.c"], "cannot be written"),
    ],
)
def test_bad_arguments_are_refused(arguments: list[str], says: str, settings_file: Path) -> None:
    """Catches a traceback, and a refusal that does not say what would do."""
    done = run_export(*(argument.format(file=settings_file) for argument in arguments))

    assert done.exit_code == 2
    assert says in done.output
