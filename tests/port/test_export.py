"""Exported settings: constants that compile, run and read back into the very same settings."""

import importlib.util
import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from protect import ranges
from replay.cli.firmware import export
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
    return CliRunner().invoke(export, list(map(str, arguments)))


@pytest.mark.parametrize("form", FORMS)
def test_reads_back_into_the_same_settings(form: str, checked: Settings, tmp_path: Path) -> None:
    """Catches a value in the wrong place, a lost sign or a digest of something else."""
    table = tmp_path / "table"
    table.write_text(export_settings(checked, form))

    assert read_exported(table) == (checked.values, checked.digest)


def test_the_c_table_compiles_and_holds_the_settings(checked: Settings, tmp_path: Path) -> None:
    """Catches a table that only our own reader understands."""
    (tmp_path / "settings.c").write_text(export_settings(checked, "c"))
    (tmp_path / "print.c").write_text(PRINTING)
    sources = (tmp_path / "settings.c", tmp_path / "print.c", C_FOLDER / "lubetrip.c")
    said = compiled("gcc", *WARNINGS, f"-I{C_FOLDER}", *sources, "-o", tmp_path / "print")
    assert said.returncode == 0, said.stderr
    printed = subprocess.run([tmp_path / "print"], capture_output=True, text=True, check=True).stdout.split()

    assert printed == [checked.digest, *map(str, checked.values)]


def test_the_c_table_lies_in_flash(checked: Settings, tmp_path: Path) -> None:
    """Catches a table that takes RAM on the target."""
    (tmp_path / "settings.c").write_text(export_settings(checked, "c"))
    built = tmp_path / "settings.o"
    said = compiled("arm-none-eabi-gcc", *WARNINGS, f"-I{C_FOLDER}", "-c", tmp_path / "settings.c", "-o", built)
    assert said.returncode == 0, said.stderr
    listed = subprocess.run([need("arm-none-eabi-nm"), built], capture_output=True, text=True, check=True).stdout

    assert [row.split()[1] for row in listed.splitlines()] == ["R", "R"]


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
    else:
        assert text.count("*/") == 1 + ranges.SETTINGS_SIZE


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
        (["{file}", "--to", "rust"], "'rust' is not one of 'c', 'micropython'"),
        (["{file}"], "Missing option '--to'"),
        (["{file}", "--to", "c", "--out", "no/such/folder/table.c"], "cannot be written"),
    ],
)
def test_bad_arguments_are_refused(arguments: list[str], says: str, settings_file: Path) -> None:
    """Catches a traceback, and a refusal that does not say what would do."""
    done = run_export(*(argument.format(file=settings_file) for argument in arguments))

    assert done.exit_code == 2
    assert says in done.output
