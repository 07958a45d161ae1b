"""Several machines of one file, machines named by folder, file or column; replacing and removing; many files at once."""

import tomllib
from pathlib import Path

import pytest

from replay.ground.refusal import Refusal
from replay.library import MustTrip, read_library
from replay.library.labels import relabel
from replay.library.removal import remove_traces
from replay.measured.importing import import_logs
from replay.trace import read_trace
from tests.support.command import lubetrip
from tests.support.measured import HEADER, PROFILE, SEA_LEVEL_PA, profile_with

LOG = HEADER + "0;3.5;2.0;1\n1;3.6;2.0;1\n2;3.5;2.1;0\n"
TWO = "t;oil 1;oil 2;suction;run 1;run 2\n0;3.5;3.1;2.0;1;0\n1;3.6;3.2;2.0;1;0\n2;3.5;3.3;2.0;0;1\n"
MACHINES = (
    profile_with(file='decimal = "."', oil_pressure="-column", running="-column\non_change = false")
    + '\n[machines."basalt"]\noil_pressure = "oil 1"\nrunning = "run 1"'
    + '\n[machines."gneiss"]\noil_pressure = "oil 2"\nrunning = "run 2"\n'
)


def imported(folder: Path, text: str, profile: str, **options: object):
    """Import a log into the library of the folder."""
    (folder / "log.csv").write_text(text)
    (folder / "p.toml").write_text(profile)
    return import_logs([folder / "log.csv"], folder / "lib", folder / "p.toml", **options)


def test_one_import_gives_two_machines(tmp_path: Path) -> None:
    """Catches columns mixed between machines, and a shared suction that only the first one gets."""
    found = imported(tmp_path, TWO, MACHINES)
    entries = {entry.machine: entry for entry in read_library(tmp_path / "lib").entries}

    assert not found.refused
    assert [entry.id for entry in entries.values()] == ["log-basalt", "log-gneiss"]
    oil = {name: (read_trace(entry.path).oil_pa - SEA_LEVEL_PA).tolist() for name, entry in entries.items()}
    assert oil == {"basalt": [350000, 360000, 350000], "gneiss": [310000, 320000, 330000]}
    assert read_trace(entries["gneiss"].path).running.tolist() == [0, 0, 1]
    assert imported(tmp_path, TWO, MACHINES).reports[0].already == ["log-basalt", "log-gneiss"]


def test_two_machines_come_in_together_or_not_at_all(tmp_path: Path) -> None:
    """Catches a library with half a file in it."""
    found = imported(tmp_path, TWO.replace("3.2", "x"), MACHINES)

    assert len(found.refused) == 1
    assert not (tmp_path / "lib").exists()


def test_a_column_names_the_machine(tmp_path: Path) -> None:
    """Catches rows of two machines read as one that jumps."""
    rows = "".join(f"{s};{n}.5;2.0;1;K{n}\n" for s in range(3) for n in (3, 4))
    profile = profile_with(file='decimal = "."', trace='machine_column = "unit"')
    found = imported(tmp_path, "t;oil;suction;run;unit\n" + rows, profile)
    entries = read_library(tmp_path / "lib").entries

    assert [report.machine for report in found.reports] == ["K3", "K4"]
    assert [entry.machine for entry in entries] == ["K3", "K4"]
    assert (read_trace(entries[1].path).oil_pa == 450000 + SEA_LEVEL_PA).all()


@pytest.mark.parametrize(("where", "name"), [("folder", "basalt"), ("file", "log")])
def test_folder_or_file_names_the_machine(where: str, name: str, tmp_path: Path) -> None:
    """Catches every log of a plant as a machine of its own."""
    (tmp_path / "basalt").mkdir()
    imported(tmp_path / "basalt", LOG, profile_with(trace=f'machine_from = "{where}"'))

    assert read_library(tmp_path / "basalt" / "lib").entries[0].machine == name


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('[machines.a]\nspeed = "n"', r"\[speed\]: named for machine a, and there is no section"),
        ('[machines.a]\noil = "n"', "'oil' of machine 'a' is no signal"),
        ('[machines.a]\noil_pressure = "?"', "left open in the draft: decide it"),
    ],
)
def test_machines_that_cannot_be_are_refused(lines: str, said: str, tmp_path: Path) -> None:
    """Catches a misspelt signal of one machine that is passed over."""
    with pytest.raises(Refusal, match=said):
        imported(tmp_path, LOG, f"{PROFILE}\n{lines}\n")


def test_an_import_replaces_what_came_from_the_file_and_keeps_its_label(tmp_path: Path) -> None:
    """Catches a corrected profile that loses what the inspection found, or leaves two entries of one file."""
    imported(tmp_path, LOG, PROFILE)
    relabel(tmp_path / "lib", "log", MustTrip(0.5, 1.5), "A. Smith", "bearing wiped")
    relabel(tmp_path / "lib", "log", MustTrip(0.5, 1.5), "J. Doe", "so it is", inspection="wiped")
    found = imported(tmp_path, LOG, profile_with(oil_pressure='reference = "absolute"'), replace=True)
    (entry,) = read_library(tmp_path / "lib").entries
    removed = tomllib.loads((tmp_path / "lib" / "removed.toml").read_text())["removed"]

    assert found.reports[0].replaced == ["log"]
    assert entry.windows == (MustTrip(0.5, 1.5),)
    assert [(word.by, word.inspection) for word in entry.words] == [("A. Smith", ""), ("J. Doe", "wiped")]
    assert "A. Smith: must trip from 0.5 s to 1.5 s" in entry.note
    assert read_trace(entry.path).oil_pa.tolist() == [350000, 360000, 350000]
    assert removed[0]["label"] == "must trip from 0.5 s to 1.5 s"
    assert len(list((tmp_path / "lib" / "traces").iterdir())) == 1


def test_a_label_does_not_stay_where_the_time_is_another(tmp_path: Path) -> None:
    """Catches a window that lies somewhere else in the new trace."""
    imported(tmp_path, LOG, PROFILE)
    relabel(tmp_path / "lib", "log", "ride_through", "A. Smith", "opened, sound")
    imported(tmp_path, LOG + "3;3.5;2;0\n", PROFILE, replace=True)
    (entry,) = read_library(tmp_path / "lib").entries

    assert entry.label == "undecided"
    assert "before this was imported again its label was: ride through" in entry.note
    assert "opened, sound" in entry.note


def test_a_removed_trace_leaves_its_label_behind(library: Path) -> None:
    """Catches an inspection's finding that goes with the file, an unknown id, and comments lost."""
    (library / "library.toml").write_text("# by hand\n" + (library / "library.toml").read_text())
    out = lubetrip("remove", library, "fault", "--by", "A. Smith", "--note", "wrong machine")
    wrong = lubetrip("remove", library, "nothing", "--by", "A. Smith", "--note", "wrong machine")
    (removed,) = tomllib.loads((library / "removed.toml").read_text())["removed"]

    assert (out.returncode, wrong.returncode) == (0, 2)
    assert [entry.id for entry in read_library(library).entries] == ["quiet"]
    assert removed["id"] == "fault"
    assert removed["label"].startswith("must trip from")
    assert removed["removed"].endswith("A. Smith: wrong machine")
    assert (library / "library.toml").read_text().startswith("# by hand\n")
    with pytest.raises(Refusal, match="no trace would be left"):
        remove_traces(library, ["quiet"], "A. Smith", "all of it")


def test_many_files_give_a_summary(tmp_path: Path) -> None:
    """Catches two hundred reports that nobody reads, with the refusals somewhere among them."""
    (tmp_path / "p.toml").write_text(profile_with(file='decimal = "."'))
    for number in range(24):
        text = LOG.replace("3.6", "3.x") if number % 6 == 0 else LOG.replace("3.6", f"3.{number:02d}")
        (tmp_path / f"log {number:02d}.csv").write_text(text)
    files = sorted(tmp_path.glob("log *.csv"))
    told = lubetrip(
        "import", *files, "--to", tmp_path / "lib", "--profile", tmp_path / "p.toml", "--json", tmp_path / "r.json"
    )

    assert told.returncode == 2
    assert "in: 20, as 20 traces" in told.stdout
    assert "refused: 4" in told.stdout
    assert 'line 3, oil = "3.x": not a number' in told.stdout
    assert len(told.stdout.splitlines()) < 30
    assert (tmp_path / "r.json").read_text().count('"sha256"') == 20


def test_the_worst_losses_of_many_are_named_with_their_machine_and_the_rest_counted(tmp_path: Path) -> None:
    """Catches one loss told sixty times over, in lines of which nobody knows whose they are."""
    profile = profile_with(file='decimal = "."', trace='machine_column = "unit"')
    (tmp_path / "p.toml").write_text(profile)
    for number in range(6):
        gap = 100 + number
        rows = "".join(f"{s};{n}.5;2.0;1;K{n}\n" for s in (0, 1, gap, gap + 1) for n in (3, 4))
        (tmp_path / f"log {number}.csv").write_text("t;oil;suction;run;unit\n" + rows)
    told = lubetrip(
        "import", *sorted(tmp_path.glob("*.csv")), "--to", tmp_path / "lib", "--profile", tmp_path / "p.toml"
    )
    lines = told.stdout.splitlines()
    first = lines[lines.index("LOOK FIRST") + 1 :]

    assert first[0].startswith("  log 5.csv, K3 ")
    assert told.stdout.count(".csv, K") == 3
    assert "9 more of this kind" in told.stdout


def test_what_holds_for_all_files_is_said_once(tmp_path: Path) -> None:
    """Catches the caution under each report, and new labels where nothing was new."""
    (tmp_path / "p.toml").write_text(profile_with(file='decimal = "."'))
    for number in range(3):
        (tmp_path / f"log {number}.csv").write_text(LOG.replace("3.6", f"3.{number}"))
    bring = ("import", *sorted(tmp_path.glob("*.csv")), "--to", tmp_path / "lib", "--profile", tmp_path / "p.toml")

    assert lubetrip(*bring).stdout.count("New labels are undecided.") == 1
    assert "New labels" not in lubetrip(*bring).stdout
