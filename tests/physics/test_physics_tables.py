"""The generated tables are what their generator makes."""

import subprocess
import sys

import numpy as np
import pytest

from replay.physics import journal, tables, tabulate

pytestmark = pytest.mark.slow("loads a large library, or solves the film of oil on a fine grid")

PAIRS = sorted(tables.LOG_PRESSURE_PER_FRACTION)


@pytest.mark.settled("replay/physics", packages=("CoolProp", "numpy", "scipy"))
@pytest.mark.outside(
    computation="all fluid tables",
    source="made anew by CoolProp 8.0.0",
    status="consulted",
    agreement="the same text",
)
def test_tables_are_current():
    """Recomputed with CoolProp and solved afresh; catches an edit by hand, or a changed constant without a new table."""
    assert tables.FILE.read_text(encoding="utf-8") == tabulate.text_of(tables.TABLES)
    assert not tabulate.differs(tables.TABLES, tabulate.tables())


@pytest.mark.parametrize(("ratio", "eccentricity"), [(0.25, 0.1), (0.25, 0.97), (0.5, 0.7), (0.5, 0.95), (1.0, 0.93)])
def test_journal_table_is_current(ratio, eccentricity):
    """Some entries solved afresh, the whole by `tabulate --check`; catches a table of another grid or boundary."""
    place = journal.ECCENTRICITIES.index(eccentricity)
    film = journal.solve_film(eccentricity, ratio)

    assert film.sommerfeld == pytest.approx(tables.SOMMERFELD[ratio][place], rel=2e-6)
    assert film.side_flow == pytest.approx(tables.SIDE_FLOW[ratio][place], rel=2e-6)


def test_a_changed_digit_or_name_makes_tables_stale():
    """Catches a comparison that never fails: one figure is moved in its fifth digit, one table has another name."""
    for name, table in tables.TABLES.items():
        moved = np.array(table)
        moved.flat[-1] *= 1.0 + 2e-5
        assert tabulate.differs(tables.TABLES, {**tables.TABLES, name: moved.tolist()}), name
    assert tabulate.differs(tables.TABLES, {f"{name}.": table for name, table in tables.TABLES.items()})
    assert not tabulate.differs(tables.TABLES, dict(tables.TABLES))


@pytest.mark.parametrize("pair", PAIRS)
def test_pressure_rises_with_temperature_and_with_refrigerant(pair):
    """Catches a table with a fold, where oil would have two equilibria."""
    table = np.array(tables.LOG_PRESSURE_PER_FRACTION[pair])
    fractions = np.maximum(np.array(tables.FRACTIONS), 1e-6)

    assert np.all(np.diff(table, axis=0) > 0)
    assert np.all(np.diff(table + np.log(fractions), axis=1) > -3e-5)


@pytest.mark.parametrize("ratio", sorted(tables.SOMMERFELD))
def test_thinner_films_need_smaller_sommerfeld_numbers(ratio):
    """Read-back at the grid points and in order between them; catches an interpolation upside down."""
    films = [1.0 - eps for eps in journal.ECCENTRICITIES]
    read = [journal.least_sommerfeld(ratio, film) for film in films]
    between = journal.least_sommerfeld(ratio, 0.12)

    assert read == pytest.approx(list(tables.SOMMERFELD[ratio]), rel=1e-9)
    assert read[9] < between < read[8]
    with pytest.raises(ValueError, match="film ratio"):
        journal.least_sommerfeld(ratio, 0.01)


def test_a_journal_between_the_tables_is_solved_once_and_kept(monkeypatch, tmp_path):
    """Catches a ratio that is admitted and not solved, a film of another ratio, and one that is solved again each time."""
    solved = []

    def solve(eccentricity, ratio):
        solved.append((eccentricity, ratio))
        return journal.Film(ratio / (1.0 + eccentricity), 0.0, eccentricity * ratio)

    monkeypatch.setattr(journal, "solve_film", solve)
    monkeypatch.setattr(journal, "project_cache", lambda: tmp_path)
    for ratio in (0.2, 0.3, 1.5):
        journal.films_of.cache_clear()
        numbers, flows = journal.films_of(ratio)
        assert solved == [(eps, ratio) for eps in journal.ECCENTRICITIES]
        assert numbers == pytest.approx([ratio / (1.0 + eps) for eps in journal.ECCENTRICITIES], rel=1e-6)
        assert flows == pytest.approx([eps * ratio for eps in journal.ECCENTRICITIES], rel=1e-6)
        solved.clear()
        journal.films_of.cache_clear()
        assert journal.films_of(ratio) == (numbers, flows)
        assert solved == []
    for ratio in (0.1999, 1.5001):
        with pytest.raises(ValueError, match=r"L/D of a journal must lie in 0\.2 \.\. 1\.5"):
            journal.films_of(ratio)
    journal.films_of.cache_clear()


def test_unknown_bearing_is_refused():
    """Catches the nearest table taken in silence."""
    with pytest.raises(ValueError, match="L/D"):
        journal.least_sommerfeld(1.75, 0.1)


def test_generator_is_a_command():
    """Catches a generator that cannot be found by who has to run it."""
    done = subprocess.run(
        [sys.executable, "-m", "replay.physics.tabulate", "--help"], capture_output=True, text=True, check=True
    )

    assert "--check" in done.stdout
