"""A library is data: nothing in it makes a command read or write outside its folder."""

import json
from pathlib import Path

import pytest

from replay.ground.refusal import Refusal
from replay.library import read_library
from replay.settings import read_settings
from replay.synth import recipe, synthesise
from tests.conftest import SETTINGS, entry, trace_csv
from tests.support.hostile import LOG
from tests.support.measured import PROFILE, import_file

pytestmark = pytest.mark.slow("loads a large library, or solves the film of oil on a fine grid")

TRACE = trace_csv(40, lambda s: 120.0)
OUT = "leads out of the library's folder"


@pytest.fixture
def outside(tmp_path: Path) -> Path:
    """Return a folder beside the library with a trace, settings and a profile of somebody else."""
    folder = tmp_path / "outside"
    (folder / "traces").mkdir(parents=True)
    (folder / "a.csv").write_text(TRACE)
    (folder / "settings.toml").write_text(SETTINGS)
    (folder / "library.toml").write_text(entry("a", "undecided = true"))
    (folder / "kept.toml").write_text(PROFILE)
    return folder


@pytest.fixture
def library(tmp_path: Path) -> Path:
    """Return a library of one trace."""
    folder = tmp_path / "library"
    folder.mkdir()
    (folder / "a.csv").write_text(TRACE)
    (folder / "settings.toml").write_text(SETTINGS)
    (folder / "library.toml").write_text('settings = "settings.toml"\n' + entry("a", "undecided = true"))
    return folder


def names(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder with its content."""
    return {str(path): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


@pytest.mark.parametrize(
    "name",
    [
        "../outside/a.csv", "{outside}/a.csv", "linked.csv", "between/a.csv", "folder/../../outside/a.csv", "circle.csv",
        "/etc/hostname", "/dev/zero", "", ".", "a.csv/", "a" * 300, "a\\u0000.csv", "nowhere.csv",
    ],
)  # fmt: skip
@pytest.mark.parametrize("key", ["file", "settings"])
def test_a_library_names_no_file_outside_its_folder(key: str, name: str, library: Path, outside: Path) -> None:
    """Catches a library from elsewhere that makes a report quote the files of who reads it."""
    (library / "folder").mkdir()
    (library / "linked.csv").symlink_to(outside / "a.csv")
    (library / "between").symlink_to(outside)
    (library / "circle.csv").symlink_to(library / "circle.csv")
    name = name.format(outside=outside)
    text = entry("a", "undecided = true", file=name if key == "file" and name else "a.csv")
    if key == "file" and not name:
        text = text.replace('"a.csv"', '""')
    (library / "library.toml").write_text(text if key == "file" else f'settings = "{name}"\n{text}')

    if name == "a.csv/":  # the same file by another spelling, or none: never another one
        return
    with pytest.raises(Refusal, match=r"leads out of|no such file|not a file name|no text"):
        read_library(library)


def test_library_toml_itself_is_no_link_out(library: Path, outside: Path) -> None:
    """Catches a folder whose library.toml is /dev/zero, or the file of another plant."""
    for target in (outside / "library.toml", Path("/dev/zero")):
        (library / "library.toml").unlink()
        (library / "library.toml").symlink_to(target)
        with pytest.raises(Refusal, match=OUT):
            read_library(library)


@pytest.mark.parametrize("link", ["traces", "profiles", "library.toml"])
def test_an_import_writes_nothing_through_a_link(link: str, library: Path, outside: Path, tmp_path: Path) -> None:
    """Catches traces, a profile or entries that land in somebody else's folder."""
    (tmp_path / "log.csv").write_text(LOG)
    (tmp_path / "profile.toml").write_text(PROFILE)
    if link == "library.toml":
        (library / link).unlink()
    (library / link).symlink_to(outside / (link if link != "profiles" else "traces"))
    before = names(outside)

    if link == "profiles":  # the traces go in, the profile stays out
        report = import_file(tmp_path / "log.csv", library, tmp_path / "profile.toml")
        assert any("profile NOT kept" in note and OUT in note for note in report.notes)
    else:
        with pytest.raises(Refusal, match=OUT):
            import_file(tmp_path / "log.csv", library, tmp_path / "profile.toml")
    assert names(outside) == before


@pytest.mark.parametrize("link", ["profiles", "profiles/kept.toml"])
def test_a_kept_profile_is_not_read_through_a_link(link: str, library: Path, outside: Path, tmp_path: Path) -> None:
    """Catches a profile from outside that decides what the numbers of a log mean."""
    (tmp_path / "log.csv").write_text(LOG)
    if link != "profiles":
        (library / "profiles").mkdir()
    (library / link).symlink_to(outside / ("kept.toml" if link != "profiles" else ""))

    with pytest.raises(Refusal, match=OUT):
        import_file(tmp_path / "log.csv", library)


@pytest.mark.parametrize("link", ["traces", ".synth", "library.toml"])
def test_synthesised_traces_are_not_written_through_a_link(link: str, outside: Path, tmp_path: Path) -> None:
    """Catches a folder, begun by somebody, that sends the traces somewhere else."""
    folder = tmp_path / "made"
    (folder / ".synth").mkdir(parents=True)
    wanted = recipe("suction-valve-shut", 1, 1, None, "csv")
    (folder / ".synth" / "recipe.json").write_text(json.dumps(wanted.as_table()))
    if link == ".synth":
        (folder / link).rename(outside / link)
    (folder / link).symlink_to(outside / link)
    before = names(outside)

    with pytest.raises(Refusal, match=OUT):
        synthesise(folder, wanted)
    assert names(outside) == before


def test_a_link_within_the_library_is_a_file_of_it(library: Path) -> None:
    """Catches a check that refuses every link: one trace under two names leads nowhere else."""
    (library / "b.csv").symlink_to(library / "a.csv")
    (library / "library.toml").write_text(entry("b", "undecided = true"))

    assert read_library(library).entries[0].path == library / "b.csv"
    assert read_settings(library / "settings.toml").altitude_m == 0
