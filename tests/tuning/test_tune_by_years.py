"""`tune --forecast` on real machine-years: it chooses what forecasts of each candidate choose, and carries on where it stopped."""

import json
from collections.abc import Sequence
from pathlib import Path

import pytest

from replay.forecast import forecast_years
from replay.machine import machine_from
from replay.machine.template import machine_template
from replay.settings import read_settings
from replay.tuning.run import Tuned, tune_settings
from tests.conftest import trace_csv
from tests.support.command import lubetrip

pytestmark = pytest.mark.slow("runs days of machines under several settings")

DEMO = Path(__file__).parents[2] / "fixtures" / "settings.toml"
COSTS = {"nuisance_stops": 1.0, "lost_with": 20.0, "down_h": 0.1}
VARY = ("trip_delay=1s,120s,1800s",)
RIDE = "ride_through = true"
DAYS, YEARS, SEED = 3, 4, 6


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a library on which one setting is as good as another, and a machine that much befalls."""
    made = tmp_path_factory.mktemp("years") / "library"
    made.mkdir()
    text = 'settings = "settings.toml"\n'
    for name, begin_s, label in (
        ("dry", 60, "must_trip = { earliest_s = 60, deadline_s = 990 }"),
        ("well", 2000, RIDE),
    ):
        (made / f"{name}.csv").write_text(trace_csv(1000, lambda s, begin_s=begin_s: 120.0 if s < begin_s else 5.0))
        text += f'[[trace]]\nid = "{name}"\nfile = "{name}.csv"\nfamily = "{name}"\nmachine = "m"\noil = "o"\n'
        text += f'origin = "synthetic: by hand"\n{label}\n'
    (made / "library.toml").write_text(text)
    (made / "settings.toml").write_text(
        DEMO.read_text(encoding="utf-8")
        .partition("[acceptance]")[0]
        .replace('start_grace = "10 s"', 'start_grace = "1 s"')
        + '[acceptance]\nmax_missed = 0\nmax_nuisance_per_1000h = 0.0\nmin_margin = "0 s"\n'
    )
    machine = machine_template()
    for before, after in (
        ("# pump-drive-broken = 0.005", "pump-drive-broken = 400"),
        ("# liquid-slug = 2", "liquid-slug = 300"),
    ):
        assert machine.count(f"\n{before}\n") == 1
        machine = machine.replace(f"\n{before}\n", f"\n{after}\n")
    (made / "machine.toml").write_text(machine, encoding="utf-8")
    return made


def tuned(folder: Path, keep: Path | None = None, vary: Sequence[str] = VARY) -> Tuned:
    """Tune by years."""
    machine = machine_from("machine.toml", (folder / "machine.toml").read_text(encoding="utf-8"))
    asked = {"forecast": YEARS, "costs": COSTS, "machine": machine, "days": DAYS, "keep": keep}
    return tune_settings(folder, vary, seed=SEED, quick=True, **asked)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def kept(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Tuned]:
    """Return a folder of years that were kept, and what was chosen."""
    keep = tmp_path_factory.mktemp("kept") / "years"
    return keep, tuned(folder, keep)


def test_the_choice_and_its_costs_are_those_of_forecasts_of_each(folder: Path, kept: tuple[Path, Tuned]) -> None:
    """Catches other machines or draws for each candidate, a cost the wrong way round, and another figure than named."""
    race = kept[1].tuning.race
    assert race is not None
    whole = {}
    for number, costs in race.costs.items():
        settings = kept[1].tuning.lines[number].candidate.settings
        told = forecast_years(settings, len(costs), SEED, machine=folder / "machine.toml", days=DAYS)
        whole[number] = sum(price * told.rate(figure).per_year for figure, price in COSTS.items())
        assert race.cost(number) == pytest.approx(whole[number], rel=1e-9)
        for figure in COSTS:
            assert race.figure(number, figure) == pytest.approx(told.rate(figure).per_year, rel=1e-9)

    nervous, usual, deaf = (race.cost(number) for number in (1, 2, 3))
    assert usual < min(nervous, deaf)
    assert kept[1].tuning.best.candidate == min(whole, key=lambda number: whole[number]) == 2
    assert race.figure(3, "lost_with") > race.figure(2, "lost_with") == 0.0
    assert race.figure(1, "nuisance_stops") > race.figure(2, "nuisance_stops")


def test_a_run_is_taken_up_where_it_stopped_and_a_forecast_takes_its_years(
    folder: Path, kept: tuple[Path, Tuned]
) -> None:
    """Catches years that are run again, those of other settings taken, and a folder that no other command reads."""
    keep, first = kept
    settings = first.chosen
    own = keep / settings.digest[:12]
    year = own / ".forecast" / "year-0000000.json"
    text = year.read_text(encoding="utf-8")
    year.write_text(
        json.dumps({**json.loads(text), "year": {**json.loads(text)["year"], "machine": "taken up"}}), encoding="utf-8"
    )
    again = tuned(folder, keep)
    assert first.tuning.race is not None
    assert again.tuning.race is not None
    assert again.tuning.race.costs == first.tuning.race.costs
    assert again.tuning.race.years[2][0].machine == "taken up"
    assert {file.name for file in keep.iterdir()} == {
        first.tuning.lines[number].candidate.settings.digest[:12] for number in (1, 2, 3)
    }
    year.write_text(text, encoding="utf-8")
    told = forecast_years(settings, YEARS, SEED, machine=folder / "machine.toml", days=DAYS, keep=own)
    assert told.years[: len(again.tuning.race.years[2])] == first.tuning.race.years[2]


def test_the_command_writes_what_it_chose_and_says_how_sure_that_is(folder: Path, tmp_path: Path) -> None:
    """Catches the settings of the library's rule written in place of the year's, and a report without the costs."""
    out = tmp_path / "out"
    costs = [word for figure, cost in COSTS.items() for word in ("--cost", f"{figure}={cost}")]
    given = ("--settings", folder / "settings.toml", "--vary", "trip_delay=1s,120s", "--quick", "--out", out)
    years = ("--forecast", YEARS, "--days", DAYS, "--seed", SEED, "--machine", folder / "machine.toml")
    done = lubetrip("tune", folder, *given, *map(str, years), *costs)
    assert done.returncode == 0, done.stderr
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))
    chosen = read_settings(out / "chosen.toml")

    assert report["chosen"] == 2
    assert chosen.named["trip_delay"] == 120_000
    assert report["forecast"]["costs"] == COSTS
    assert report["forecast"]["candidates"][0]["number"] == 2
    assert "what a year costs least under" in report["rule"]
    assert "2 chosen" in done.stdout
    assert "nuisance trips 1, machines lost with 20, hours down 0.1" in " ".join(done.stdout.split())
