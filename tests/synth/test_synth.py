"""Synthesised libraries: same recipe, same bytes; safe to interrupt; nobody else's files are touched."""

import itertools
import json
from pathlib import Path

import numpy as np
import pytest
import tomlkit

import replay.synth.libraries
from replay.ground.refusal import Refusal
from replay.library import read_library
from replay.physics.simulate import simulate_pieces
from replay.synth import Recipe, recipe, synthesise
from replay.synth.libraries import recipe_from
from replay.trace import read_trace
from tests.support.command import lubetrip
from tests.support.memory import peak_of

FAMILIES = "pump-drive-broken,normal-start,suction-valve-shut"


def small(seed: int = 5, count: int = 5, form: str = "csv") -> Recipe:
    """Return the recipe of a few short traces."""
    return recipe(FAMILIES, count, seed, None, form)


def contents(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder with what is in it."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.slow("starts workers or commands as processes of their own")
def test_neither_workers_nor_their_order_change_a_byte(tmp_path: Path) -> None:
    """Catches a random stream that belongs to a worker, and entries written in order of completion."""
    synthesise(tmp_path / "one", small(), jobs=1)
    synthesise(tmp_path / "two", small(), jobs=2)

    assert contents(tmp_path / "one") == contents(tmp_path / "two")


@pytest.mark.slow("compiles the physics, and simulates")
def test_another_seed_gives_other_traces(tmp_path: Path) -> None:
    """Catches a seed that is not used, by which a 'fresh' library is the old one."""
    synthesise(tmp_path / "five", small(5))
    synthesise(tmp_path / "six", small(6))
    five, six = contents(tmp_path / "five"), contents(tmp_path / "six")

    assert set(five) == set(six)
    assert not any(five[name] == six[name] for name in five)


@pytest.mark.slow("compiles the physics, and simulates")
def test_a_longer_library_begins_with_the_shorter_one(tmp_path: Path) -> None:
    """Catches a trace that depends on how many others were asked for."""
    synthesise(tmp_path / "short", small(count=3))
    synthesise(tmp_path / "long", small(count=5))
    short, long = contents(tmp_path / "short"), contents(tmp_path / "long")

    assert all(long[name] == data for name, data in short.items() if name.startswith("traces"))


@pytest.mark.slow("compiles the physics, and simulates")
@pytest.mark.parametrize("after", [0, 1, 4])
def test_an_interrupted_run_is_taken_up_where_it_stopped(
    after: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a run that starts over, or one that ends with a trace or a label missing."""
    synthesise(tmp_path / "whole", small())
    made = itertools.count()

    def interrupted(*arguments: object, **more: object) -> object:
        if next(made) == after:
            raise KeyboardInterrupt
        return generate(*arguments, **more)

    generate = replay.synth.libraries.generate_pieces
    monkeypatch.setattr(replay.synth.libraries, "generate_pieces", interrupted)
    with pytest.raises(KeyboardInterrupt):
        synthesise(tmp_path / "parts", small())
    assert not (tmp_path / "parts" / "library.toml").exists()

    remade: list[object] = []
    monkeypatch.setattr(
        replay.synth.libraries, "generate_pieces", lambda *a, **k: remade.append(a) or generate(*a, **k)
    )
    synthesise(tmp_path / "parts", small())

    assert 1 <= len(remade) <= 5 - after
    assert contents(tmp_path / "parts") == contents(tmp_path / "whole")


@pytest.mark.slow("compiles the physics, and simulates")
def test_a_finished_library_is_left_alone(tmp_path: Path) -> None:
    """Catches labels edited by hand that a second run wipes out."""
    synthesise(tmp_path, small())
    library = tmp_path / "library.toml"
    library.write_text(library.read_text().replace("[[trace]]", "# seen by an engineer\n[[trace]]", 1))
    before = contents(tmp_path)

    assert synthesise(tmp_path, small()) is False
    assert contents(tmp_path) == before


@pytest.mark.slow("compiles the physics, and simulates")
def test_memory_does_not_grow_with_the_length_of_a_trace(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a year that is simulated, or written, as a whole."""
    monkeypatch.setattr(simulate_pieces, "__defaults__", (1000,))

    def peak(hours: float) -> int:
        wanted = recipe("pump-down-and-stop", 1, 1, hours, "parquet")
        return peak_of(lambda: synthesise(tmp_path / str(hours), wanted))

    peak(1.0)  # what is imported and kept once is not counted
    assert peak(24.0) < 1.5 * peak(6.0)


def other_recipe(folder: Path) -> None:
    """Leave the head of another seed's library."""
    (folder / "library.toml").write_text(tomlkit.dumps({"recipe": small(6).as_table()}))


def begun(folder: Path) -> None:
    """Leave the beginning of another recipe."""
    (folder / ".synth").mkdir()
    (folder / ".synth" / "recipe.json").write_text(json.dumps(small(6).as_table()))


OTHERS = {
    "a library made by hand": (
        lambda folder: (folder / "library.toml").write_text("[[trace]]\n"),
        "was not synthesised",
    ),
    "other files": (lambda folder: (folder / "thesis.doc").write_text("x"), "files that were not synthesised"),
    "another recipe's library": (other_recipe, "another recipe .*seed 6"),
    "another recipe's beginning": (begun, "beginning of another recipe .*seed 6"),
}


@pytest.mark.parametrize("name", OTHERS)
def test_a_folder_that_holds_anything_else_is_refused_untouched(name: str, tmp_path: Path) -> None:
    """Catches a library of recordings overwritten by invented traces."""
    fill, said = OTHERS[name]
    fill(tmp_path)
    before = contents(tmp_path)

    with pytest.raises(Refusal, match=said):
        synthesise(tmp_path, small())
    assert contents(tmp_path) == before


@pytest.mark.slow("compiles the physics, and simulates")
def test_a_settings_file_in_the_folder_becomes_the_librarys_own(tmp_path: Path, settings_file: Path) -> None:
    """Catches a library that cannot be scored without more ado beside its own settings."""
    assert settings_file.parent == tmp_path
    synthesise(tmp_path, small())
    assert read_library(tmp_path).settings == tmp_path / "settings.toml"


@pytest.mark.slow("compiles the physics, and simulates")
def test_settings_change_no_label_and_no_trace(tmp_path: Path, settings_file: Path) -> None:
    """Catches a label that comes from the logic that will be judged by it."""
    text = settings_file.read_text()
    for name, changed in (("a", text), ("b", text.replace('"60 s"', '"10 s"').replace('"60 kPa"', '"40 kPa"'))):
        (tmp_path / name).mkdir()
        (tmp_path / name / "settings.toml").write_text(changed)
        synthesise(tmp_path / name, small())
    one, other = contents(tmp_path / "a"), contents(tmp_path / "b")

    assert one.pop("settings.toml") != other.pop("settings.toml")
    assert one == other


@pytest.mark.slow("compiles the physics, and simulates")
def test_parquet_holds_the_same_traces(tmp_path: Path) -> None:
    """Catches a second writer that rounds or leaves gaps differently."""
    wanted = "oil-sensor-loop-fails,short-dropouts,pump-drive-broken"
    synthesise(tmp_path / "csv", recipe(wanted, 6, 5, None, "csv"))
    synthesise(tmp_path / "parquet", recipe(wanted, 6, 5, None, "parquet"))

    for one, other in zip(
        read_library(tmp_path / "csv").entries, read_library(tmp_path / "parquet").entries, strict=True
    ):
        assert (one.id, one.label) == (other.id, other.label)
        a, b = read_trace(one.path), read_trace(other.path)
        for name in ("time_ms", "oil_pa", "suction_pa", "crankcase_pa", "running"):
            assert np.array_equal(getattr(a, name), getattr(b, name)), (one.id, name)


@pytest.mark.slow("compiles the physics, and simulates")
def test_hours_lengthen_harmless_traces_only(tmp_path: Path) -> None:
    """Catches run hours that are asked for and not made."""
    synthesise(tmp_path, recipe("normal-start,pump-drive-broken", 2, 5, 0.5, "parquet"))
    calm, fault = (read_trace(entry.path) for entry in read_library(tmp_path).entries)

    assert calm.time_ms[-1] >= 1799000
    assert fault.time_ms[-1] < 1799000


def test_a_year_and_any_rate_of_upsets_are_recipes_and_stand_in_the_library() -> None:
    """Catches an upper end of the hours, and an input that a library does not tell."""
    year = recipe(FAMILIES, 3, 1, 8760.0, upsets_per_hour=0.05, loggers="field")
    assert recipe_from("library.toml", year.as_table(), "[recipe] ") == year
    assert (year.as_table()["upsets_per_hour"], year.as_table()["loggers"]) == (0.05, "field")


@pytest.mark.slow("compiles the physics, and simulates")
def test_upsets_are_marked_where_they_were_done(tmp_path: Path) -> None:
    """Catches marks that a reader of the library does not get, or that follow another rate than the recipe's."""
    synthesise(tmp_path, recipe("power-dip,pump-drive-broken", 2, 5, 1.0, "parquet", upsets_per_hour=2.0))
    calm, fault = tomlkit.parse((tmp_path / "library.toml").read_text()).unwrap()["trace"]
    trace = read_trace(tmp_path / calm["file"])

    assert "upsets" not in fault
    assert len(calm["upsets"]) == 2
    for begin, end in calm["upsets"]:
        inside = (trace.time_ms >= 1000 * begin - 1000) & (trace.time_ms <= 1000 * begin + 5000)
        assert end - begin < 70.0
        assert trace.running[inside].min() == 0
        assert trace.running[inside].max() == 1


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--count", "3", "--seed", "1", "--families", "nonsense"), "no such family"),
        (("--count", "3", "--seed", "1", "--families", "normal-start,normal-start"), "appears twice"),
        (("--count", "0", "--seed", "1"), "--count"),
        (("--count", "3", "--seed", "-1"), "--seed"),
        (("--count", "3", "--seed", "1", "--hours", "0"), "--hours"),
        (("--count", "3", "--seed", "1", "--upsets-per-hour", "0"), "--upsets_per_hour"),
        (("--count", "3", "--seed", "1", "--upsets-per-hour", "9"), "0.001 to 4.0"),
        (("--count", "3", "--seed", "1", "--loggers", "tape"), "--loggers"),
        (("--count", "3", "--seed", "1", "--json", "x.json"), "--closed-loop"),
    ],
)
def test_an_impossible_recipe_is_refused(arguments: tuple[str, ...], said: str, tmp_path: Path) -> None:
    """Catches an empty library, or one that quietly leaves out a misspelt family."""
    done = lubetrip("synth", tmp_path / "out", *arguments)

    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.slow("compiles the physics, and simulates")
def test_the_command_writes_a_library_that_can_be_scored(tmp_path: Path, settings_file: Path) -> None:
    """Catches a writer and a reader that do not agree, labels that nobody tells of, and a second call that says nothing."""
    call = ("synth", tmp_path / "out", "--count", "3", "--seed", "1", "--families", FAMILIES)

    assert lubetrip(*call).stdout == f"{tmp_path / 'out'}: 3 traces, 2 must trip, 1 ride through\n"
    assert "already there, the same library: 3 traces, 2 must trip" in lubetrip(*call).stdout
    entries = read_library(tmp_path / "out").entries
    assert [sum(bool(one.windows) is fault for one in entries) for fault in (True, False)] == [2, 1]
    assert lubetrip("score", tmp_path / "out", "--settings", settings_file).returncode in (0, 1)
