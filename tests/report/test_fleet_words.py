"""What a triage says of findings made up by hand, word by word: figures, events, the order of names, the tone of the page."""

import datetime as dt
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from replay.display.terminal import plain
from replay.display.triage import (
    advice,
    event_lines,
    figures,
    hours_told,
    levels_told,
    moment,
    obeyed_told,
    triage_view,
)
from replay.ground.shown import KPA, shown_in
from replay.report.fleet import fleet_contents, period
from replay.settings import Settings, read_settings
from replay.triage import kernel
from replay.triage.clock import Clock
from replay.triage.doubts import CANNOT_TELL, CHECK, NEXT, NOTE
from replay.triage.events import DOUBT, STARVED, VACUUM
from replay.triage.findings import Doubt, Findings, Piece
from replay.triage.logs import Part, Placed
from replay.triage.report import Triage
from tests.triage.test_triage_findings import event

HOUR = 3_600_000


@pytest.fixture
def site(settings_file: Path) -> Settings:
    """Return the settings that the tests share."""
    return read_settings(settings_file)


def machine(name: str = "m", days: int = 1, events: dict[str, int] | None = None, **values: Any) -> Findings:
    """Return findings of a machine that ran ten hours of each day."""
    usual: dict[str, Any] = {"run_ms": 10 * HOUR * days, "seen_ms": 10 * HOUR * days, "doubts": ()}
    found = Findings(name, (), **usual | values)
    found.events.update(events or {})
    sums = np.zeros((1, kernel.DAY_SIZE), np.int64)
    sums[0, kernel.DAY_LOGGED], sums[0, kernel.DAY_RUN] = 20 * HOUR, 10 * HOUR
    for number in range(days):
        found.days.add(number, sums)
    return found


def day(found: Findings, **values: int) -> Findings:
    """Put values into the first day of findings."""
    for name, value in values.items():
        found.days.by_number[0].sums[getattr(kernel, name)] = value
    return found


def test_figures_of_a_healthy_machine_are_told_with_their_units() -> None:
    """Catches ms told as s, a mean for the slowest start, running and standstill exchanged, and figures of nothing."""
    found = machine(starts=30, elapsed_ms=48 * HOUR)
    with shown_in(KPA):
        assert figures(found) == ["logged 20.0 of 48.0 h", "1.5 starts an hour; 0 starts stopped before it came"]
        day(found, DAY_NET=120_000 * 9, DAY_NET_MS=9, DAY_REST=2000 * 4, DAY_REST_MS=4)
        day(found, DAY_BUILD=90_000, DAY_BUILT=20, DAY_BUILD_MOST=95_000, DAY_NEVER=1)
        assert figures(found) == [
            "logged 20.0 of 48.0 h; running net oil pressure 120.0 kPa (17.4 psi), at standstill 2.0 kPa (0.3 psi)",
            "1.5 starts an hour; oil pressure after 4.5 s, at most 95.0 s; 1 start stopped before it came",
        ]
    assert hours_told(found) == "20.0 of 48.0"
    assert figures(machine())[1:] == []


def test_advice_is_loud_where_something_is_to_be_done() -> None:
    """Catches a machine to be opened told like one that is well, and the other way round."""
    assert advice(machine()) == "not starved"
    assert advice(machine(run_ms=0)) == "did not run"
    assert advice(machine(doubts=(Doubt(CANNOT_TELL, "why"),))) == "CANNOT TELL: why"
    assert advice(machine(reloads=2)) == "OPEN FIRST: loaded again twice before the oil film was back"


def test_an_event_is_told_with_its_file_its_moment_and_what_it_cost() -> None:
    """Catches a spell told without its stop, a vacuum as a spell, and a file named twice."""
    spell = event(
        file="in/a.csv", source="log.csv", start_ms=1000, end_ms=91_000, log_start_s=10.0, low_ms=80_000, net_least_pa=5000,
        suction_least_pa=60_000, integral_percent=100, vacuum_ms=70_000, full_at_ms=61_000, reload_at_ms=81_000,
        reload_ms=9000, reload_suction_pa=310_000, ends_with_log=True,
    )  # fmt: skip
    with shown_in(KPA):
        told = event_lines(spell, 0.0)
        assert told[0] == "a.csv (from log.csv), 11.0 s: starved spell of 90.0 s, until the log breaks off"
        assert told[1].startswith("net oil pressure down to 5.0 kPa") and told[1].endswith("integral 100 %")
        assert told[2].endswith("70.0 s in vacuum")
        assert told[3].startswith("LOADED AGAIN at 91.0 s for 9.0 s before the oil film was back, suction up to ")
        assert told[4] == "these settings would have stopped it 60.0 s into the spell; it ran on for 30.0 s"
        plain_one = event_lines(event(file="a.csv", source="a.csv", net_least_pa=5000, suction_least_pa=200_000), 0.0)
        assert plain_one[0] == "a.csv, 0.0 s: starved spell of 60.0 s"
        assert plain_one[2].endswith("not in vacuum") and len(plain_one) == 3
        assert event_lines(event(DOUBT, doubt_ms=5000, doubts=("oil missing", "late")), 0.0)[1:] == [
            "5.0 s in doubt: oil missing, late"
        ]
        vacuum = event(VACUUM, vacuum_ms=7000, suction_least_pa=60_000, net_least_pa=90_000)
        assert event_lines(vacuum, 0.0)[1].endswith(", 7.0 s in vacuum")
        assert event_lines(vacuum, 0.0)[2].endswith(", not short of oil")
        assert event_lines(event(VACUUM, low_ms=3000, net_least_pa=9000), 0.0)[2].endswith(", 3.0 s short of oil")
    dated = event(file="a.csv", clock=Clock(1_772_438_400.0, "+01:00"), start_ms=5000)
    assert event_lines(dated, 0.0)[0].startswith("a.csv, 2026-03-02 09:00:05 UTC+01:00: ")


@pytest.mark.parametrize(
    ("at_s", "told"),
    [
        (None, "-"),
        (90.0, "90.0 s"),
        (3599.0, "3599.0 s"),
        (3600.0, "3600.0 s (01:00:00)"),
        (86_399.0, "86399.0 s (23:59:59)"),
        (86_400.0, "86400.0 s (day 1, 00:00:00)"),
        (2 * 86_400 + 3661.0, "176461.0 s (day 2, 01:01:01)"),
    ],
)
def test_a_time_that_no_calendar_knows_is_told_as_one_reads_it(at_s: float | None, told: str) -> None:
    """Catches minutes told as hours, and the first day told as one that was over."""
    assert moment(at_s) == told


def contents(site: Settings, *machines: Findings, before: Triage | None = None) -> dict[str, Any]:
    """Return what stands on the page."""
    return fleet_contents(Triage(site, machines, before), events=0)


def doubtful(name: str, place: int) -> Findings:
    """Return a machine of this advice."""
    return machine(name, doubts=(Doubt(place, "why"),))


def test_the_page_says_first_how_many_machines_to_look_at(site: Settings) -> None:
    """Catches a machine that nobody can judge called well, one to check called starved, and a tone that says otherwise."""
    starved, check, blind, well = (
        machine("s", reloads=1),
        doubtful("c", CHECK),
        doubtful("b", CANNOT_TELL),
        machine("w"),
    )
    page = contents(site, starved, check, blind, well)
    assert page["said"] == (
        "1 of 4 machines to look at, in this order: s. For 2 more the logs cannot tell until something is checked: c, b."
    )
    assert page["tone"] == "not-met"
    page = contents(site, check, well)
    assert page["said"] == (
        "None of the machines was found starved in these logs. For 1 the logs cannot tell until something is checked: c."
    )
    assert page["tone"] == "not-enough-evidence"
    page = contents(site, well, doubtful("n", NOTE))
    assert (page["said"], page["tone"]) == ("None of the machines was found starved in these logs.", "met")
    assert contents(site)["tone"] == "not-enough-evidence"
    assert contents(site, doubtful("x", NEXT))["tone"] == "not-met"


def test_eight_names_are_told_and_the_others_counted(site: Settings) -> None:
    """Catches a ninth name that is lost without a word."""
    many = [machine(f"m{number}", reloads=1) for number in range(9)]

    assert contents(site, *many[:8])["said"].endswith("in this order: m0, m1, m2, m3, m4, m5, m6, m7.")
    assert contents(site, *many)["said"].endswith("m6, m7 and 1 more.")


def test_each_machine_has_its_weeks_its_links_and_what_is_left_out(site: Settings) -> None:
    """Catches a link to another machine, one week told as a trend, and events not drawn that nobody hears of."""
    week, fortnight = machine("one", days=7), machine("two", days=8, events={STARVED: 1}, reloads=1)
    fortnight.gravest.add([event(reload_at_ms=1, net_least_pa=1)])
    first, second = contents(site, week, fortnight)["machines"]

    assert (first["id"], second["id"]) == ("machine-1", "machine-2")
    assert first["weeks"] is None
    assert [row[0] for row in second["weeks"].rows] == ["day 1", "day 8"]
    assert second["weeks"].rows[0][1] == "70.0"
    assert (first["more"], second["more"]) == ("", "1 more event of this machine not drawn: --csv FILE lists them.")
    assert (first["asked"], second["asked"]) == (False, True)


def test_a_share_below_four_fifths_is_marked(site: Settings) -> None:
    """Catches 80 % marked, and less that is not."""
    marked = [machine("a", seen_ms=80, doubted_ms=20), machine("b", seen_ms=79, doubted_ms=21)]

    assert [row[3] for row in contents(site, *marked)["fleet"].rows] == ["80 %", "79 % (!)"]


def test_a_machine_that_is_logged_no_longer_is_named(site: Settings) -> None:
    """Catches a machine whose logger died and that nobody misses."""
    before = Triage(site, (machine("gone"), machine("here")))
    page = contents(site, machine("here"), before=before)

    assert page["gone"] == "Logged before and no longer: gone."
    assert dict(page["summary"])["period before"] == "2 machines, 0 files"
    assert dict(page["summary"])["hours"] == "20.0 h logged, 10.0 h of running"
    assert "period before" not in dict(contents(site, machine("here"))["summary"])
    assert contents(site, machine("here"))["gone"] == ""


def piece(name: str, utc: int | None, hours: int) -> Piece:
    """Return a file of a machine."""
    start = None if utc is None else dt.datetime.fromtimestamp(utc, dt.UTC)
    return Piece(Placed(Part(Path(name), start_utc=start), 0.0, Clock(utc)), end_ms=hours * HOUR)


def test_the_period_goes_from_the_first_row_to_the_last() -> None:
    """Catches the end of the file that began last taken for the last, and files without a date left out of the count."""
    found = machine()
    found.pieces = [piece("a", 7200, 1), piece("b", 0, 9), piece("c", None, 1)]

    assert period([found]) == (
        "1 machine, 3 files, 1970-01-01 00:00 UTC to 1970-01-01 09:00 UTC; 1 file that does not say when it began"
    )
    assert period([machine()]) == "1 machine, 0 files"


def test_a_rate_of_spells_is_told_with_its_limits(site: Settings) -> None:
    """Catches a rate that is left out where there is one, and one made of no hours."""
    ran, stood = machine("ran", events={STARVED: 2}), machine("stood", run_ms=0, seen_ms=0)
    text = " ".join(plain(triage_view(Triage(site, (ran, stood)), 0)).split())

    assert " 2 200 " in text and " to " in text.split(" 2 200 ")[1][:60]
    assert text.split("did not run")[1][:40].count(" to ") == 0


def test_forty_files_are_listed_and_the_others_counted(site: Settings) -> None:
    """Catches a file that is left out without a word."""
    found = machine()
    found.pieces = [piece(f"f{number}", 0, 1) for number in range(41)]
    (table,) = contents(site, found)["files"]

    assert len(table.rows) == 40
    assert table.caption == "Files of m, and 1 more: --json FILE lists them"
    assert table.rows[0][2:4] == ("1970-01-01 00:00:00 UTC", "1970-01-01 01:00:00 UTC")


def test_what_the_settings_would_have_done_is_told_of_all_machines(site: Settings) -> None:
    """Catches hours that would have been run told as those that were, and lockouts told as stops."""
    one, other = machine("a", obeyed_run_ms=4 * HOUR, lockouts=1), machine("b", obeyed_run_ms=5 * HOUR)
    one.stops.update({"oil": 2, "sensor": 1})
    told = obeyed_told(Triage(site, (one, other)))

    assert "3 stops, 1 of them with a lockout, and 9.0 of the 20.0 run hours." in told
    assert "A lockout holds a machine" in told
    assert "A lockout holds" not in obeyed_told(Triage(site, (other,)))


def test_the_report_names_the_machines_and_closes_with_the_rule(site: Settings) -> None:
    """Catches starved spells counted without those of a start, and a log too slow to be judged that nobody is told of."""
    slow = machine("slow", doubted_ms=9 * HOUR, events={STARVED: 2, "start without oil pressure": 1, DOUBT: 1})
    slow.gravest.add([event(DOUBT, doubts=("late tick",))])
    text = plain(triage_view(Triage(site, (slow, machine("b"))), 0))

    assert "2 machines, 20.00 run hours, 3 starved spells" in text
    assert text.index("slow") < text.index("not starved")
    levels = levels_told(site)
    assert [word.split(" ")[0] for word in levels.split(", ")] == ["cut-out", "floor", "vacuum", "reload"]


def test_stops_of_an_event_list_are_sorted_and_what_is_not_shown_is_counted(site: Settings) -> None:
    """Catches a report of three events that says nothing of the fourth."""
    found = machine("m", logs=2, rows=7, starts=3, lockouts=1, doubts=(Doubt(NOTE, "a note"),))
    found.stops.update({"sensor": 1, "oil": 2})
    found.gravest.add([event(low_ms=n, net_least_pa=n) for n in range(5)])
    text = " ".join(plain(triage_view(Triage(site, (found,)), 3)).split())

    assert "m: 2 logs, 7 rows, 3 starts; under these settings: 2 on oil, 1 on sensor, 1 lockout" in text
    assert "and 2 more: --events N shows them" in text
    assert "a note" in text
    assert " ".join(plain(triage_view(Triage(site, (found,)))).split()) == text  # three, unless one says otherwise
    assert text.index("m: 2 logs") < text.index("How often, all machines together") < text.index("1 machine, ")
    assert "more: --events" not in plain(triage_view(Triage(site, (found,)), 5))
