"""The forecast as a user asks for it: the same whoever runs it, taken up where it stopped, what went wrong kept."""

import io
import json
import re
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

import replay
from protect.ranges import FLOOR_WEIGHT, ONE, RESETS_MOST, TRIP_DELAY
from replay.cli import main
from replay.display.forecast import _sentences, forecast_view
from replay.forecast import forecast, forecast_years
from replay.ground.refusal import Refusal
from replay.library import read_library
from replay.score import score_library
from replay.settings import Settings, read_settings
from tests.forecast.test_days import SQUARE
from tests.support.command import lubetrip

SETTINGS = Path(__file__).parents[2] / "fixtures" / "settings.toml"
RATES = {"relief-stuck-open": 365.0, "liquid-slug": 100.0, "pump-drive-broken": 0.01}

pytestmark = pytest.mark.slow("runs days of several machines")


def deaf() -> Settings:
    """Return the demo settings with the longest trip delay: whatever needs a stop is lost."""
    settings = read_settings(SETTINGS)
    values = list(settings.values)
    values[TRIP_DELAY], values[FLOOR_WEIGHT] = 1_800_000, ONE
    return replace(settings, values=tuple(values))


def test_neither_workers_nor_more_years_change_a_figure(tmp_path: Path) -> None:
    """Catches draws that belong to a worker, and years of a seed that hang on how many there are."""
    one = forecast_years(SETTINGS, 2, 5, duty=SQUARE, per_year=RATES, days=2)
    two = forecast_years(SETTINGS, 3, 5, duty=SQUARE, per_year=RATES, days=2, jobs=2, keep=tmp_path / "kept")

    assert two.years[:2] == one.years
    assert one.machine_years == pytest.approx(4 / 365)


def test_what_was_lost_is_kept_as_a_library_that_score_takes(tmp_path: Path) -> None:
    """Catches traces without the moment, labels that are not the physics', and a library that no command reads."""
    kept = tmp_path / "kept"
    told = forecast_years(deaf(), 2, 5, duty=SQUARE, per_year=RATES, days=2, keep=kept)
    library = read_library(kept)
    lost = sum(wrong.what == "lost" for year in told.years for wrong in year.wrongs)

    assert told.kept == len(library.entries) >= lost > 0
    assert {entry.family for entry in library.entries if entry.windows} == {"relief-stuck-open"}
    assert not [
        item for item in kept.iterdir() if item.name not in ("traces", "library.toml", "settings.toml", ".forecast")
    ]
    score = score_library(kept, SETTINGS)
    assert score.totals.hit >= lost - 1
    assert score_library(kept, deaf()).totals.missed >= lost - 1


def test_an_interrupted_forecast_is_taken_up(tmp_path: Path) -> None:
    """Catches a run that begins anew, and one that takes up years of other settings."""
    kept = tmp_path / "kept"
    whole = forecast_years(deaf(), 2, 5, duty=SQUARE, per_year=RATES, days=1, keep=kept)
    text = (kept / "library.toml").read_text(encoding="utf-8")
    (kept / "library.toml").unlink()
    year = kept / ".forecast" / "year-0000001.json"
    year.unlink()
    for file in (kept / "traces").glob("*-0001-*"):
        file.unlink()
    first = kept / ".forecast" / "year-0000000.json"
    taken = json.loads(first.read_text(encoding="utf-8"))
    taken["year"]["machine"] = "taken up"
    first.write_text(json.dumps(taken), encoding="utf-8")
    again = forecast_years(deaf(), 2, 5, duty=SQUARE, per_year=RATES, days=1, keep=kept)

    assert (kept / "library.toml").read_text(encoding="utf-8") == text
    assert [its.machine for its in again.years] == ["taken up", whole.years[1].machine]
    assert [its.tallies for its in again.years] == [its.tallies for its in whole.years]
    with pytest.raises(Refusal, match="another forecast"):
        forecast_years(SETTINGS, 2, 5, duty=SQUARE, per_year=RATES, days=1, keep=kept)


def test_a_folder_with_other_files_is_refused(tmp_path: Path) -> None:
    """Catches a forecast that writes among somebody's files."""
    shutil.copy(SETTINGS, tmp_path)
    with pytest.raises(Refusal, match="no forecast kept"):
        forecast_years(SETTINGS, 1, 5, days=1, keep=tmp_path)


def test_other_settings_run_on_the_same_machines() -> None:
    """Catches a pair whose machines or draws differ: alike settings, no difference; deaf ones lose what the others keep."""
    alike = read_settings(SETTINGS)
    alike = replace(alike, values=(*alike.values[:RESETS_MOST], 4, *alike.values[RESETS_MOST + 1 :]))
    told = forecast_years(SETTINGS, 3, 5, against=alike, duty=SQUARE, per_year=RATES, days=1)
    assert told.years == told.against
    assert told.difference("nuisance_stops") == {"difference": 0.0, "lower": None, "upper": None}
    assert "-: all machine-years came out alike" in " ".join(_sentences(told))

    told = forecast_years(SETTINGS, 3, 5, against=deaf(), duty=SQUARE, per_year=RATES, days=1)
    assert told.rate("lost_without").per_year == told.rate("lost_without", years=told.against).per_year
    assert told.difference("lost_with")["difference"] < 0.0  # type: ignore[operator]
    assert told.rate("lost_with").per_year == 0.0 < told.rate("lost_with", years=told.against).per_year


def test_the_same_values_run_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches machine-years run twice where a tuning chose what it began with, and that nobody is told so."""
    run: list[int] = []
    one_year = forecast.one_year

    def counted(*told: Any) -> Any:
        run.append(told[-1])
        return one_year(*told)

    monkeypatch.setattr(forecast, "one_year", counted)
    told = forecast_years(SETTINGS, 2, 5, against=SETTINGS, duty=SQUARE, per_year=RATES, days=1)

    assert run == [0, 1]
    assert told.years == told.against
    console = Console(width=200, file=io.StringIO())
    console.print(forecast_view(told))
    shown = " ".join(console.file.getvalue().split())  # type: ignore[attr-defined]
    assert "which sets the same values" in shown


def test_the_command_says_what_its_report_holds(tmp_path: Path) -> None:
    """Catches a table of other figures than the report's, and one wider than a terminal of 80 columns."""
    out = tmp_path / "report.json"
    done = lubetrip("forecast", "--settings", SETTINGS, "--years", "2", "--days", "20", "--seed", "3", "--json", out)
    report = json.loads(out.read_text(encoding="utf-8"))

    assert done.returncode == 0, done.stderr
    assert (report["schema"], report["machine_years"]) == ("lubetrip-forecast/1", round(40 / 365, 6))
    assert max(map(len, done.stdout.splitlines())) <= 80
    nuisance = report["groups"]["ordinary duty"]["nuisance_stops"][0]
    assert "nuisance trips" in done.stdout
    assert f"{nuisance:.2f}"[:3] in done.stdout
    faults = report["faults"]
    assert f"{faults['sampled']} sampled faults would have spoilt a machine" in done.stdout.replace("\n", " ")


@pytest.mark.parametrize(("option", "value"), [("--years", "0"), ("--seed", "-1")])
def test_years_and_seeds_that_are_none_are_refused(option: str, value: str) -> None:
    """Catches a forecast of nothing."""
    given = {"--years": "1", "--seed": "1", option: value}
    done = lubetrip("forecast", "--settings", SETTINGS, *(word for pair in given.items() for word in pair))

    assert (done.returncode, done.stdout) == (2, "")
    assert option in done.stderr


def test_the_commands_of_the_guide_are_those_of_the_program() -> None:
    """Catches an option that was renamed under its guide."""
    guide = Path(replay.__file__).parent / "guides" / "forecast.md"
    calls = re.findall(r"^    lubetrip (\w+) (.*)$", guide.read_text(encoding="utf-8"), re.MULTILINE)

    assert [name for name, _ in calls].count("forecast") == 3
    for name, words in calls:
        assert main.commands[name].make_context(name, words.split())
