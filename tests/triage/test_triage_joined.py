"""Files of one machine, joined on the calendar: what goes on over midnight, what is told twice, what nobody tells."""

import csv
import dataclasses
import datetime as dt
import io
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from replay.cli import main
from replay.settings import Settings, read_settings
from replay.trace import Trace
from replay.triage.events import STARVED
from replay.triage.findings import Findings
from replay.triage.logs import Part
from replay.triage.obeyed import RESET_AFTER_MS
from replay.triage.ranking import ADVICE, notes, rank, reasons
from replay.triage.report import triage
from replay.triage.run import examine
from tests.conftest import entry
from tests.support.triage_logs import ARRAYS, found, made, pieces, with_values, write

MIDNIGHT = dt.datetime(2026, 3, 1, 23, 0, tzinfo=dt.UTC)  # in Oslo
# Short of oil from 100 s to 170 s: half way to the floor, so the integral is full after 40 s, at 140 s.
SPELL = made(600, lambda s: 45 if 100 < s <= 170 else 120)


@pytest.fixture
def site(settings_file: Path) -> Settings:
    """Return the settings that the tests share."""
    return read_settings(settings_file)


def joined(site: Settings, folder: Path, trace: Trace, spans: list[tuple[int, int]], **more: str) -> Findings:
    """Write rows begin .. end - 1 of a log as files of their own that say when they began; examine them together."""
    parts = []
    for number, (begin, end) in enumerate(spans):
        piece = pieces(trace, [begin, end])[int(begin > 0)]
        moment = MIDNIGHT + dt.timedelta(milliseconds=int(piece.time_ms[0]))
        piece = dataclasses.replace(piece, time_ms=piece.time_ms - piece.time_ms[0])
        parts.append(Part(write(folder / f"{number}.csv", piece), moment, "Europe/Oslo", **more))
    return examine(site, ("m", parts[::-1]), fast=False)


def starved(findings: Findings) -> list[tuple[int, int, int | None]]:
    """Return start, end and stop of each starved spell, in s of the machine's log."""
    spells = [event for event in findings.gravest.all() if event.starved]
    seconds = [(event.start_ms, event.end_ms, event.stop_at_ms) for event in spells]
    return sorted(tuple(None if ms is None else ms // 1000 for ms in spell) for spell in seconds)


@pytest.mark.parametrize("cut", [50, 120, 150, 400])
def test_a_spell_over_the_end_of_a_file_is_one(cut: int, site: Settings, tmp_path: Path) -> None:
    """Catches parts in the order they were given, and a start of a file taken for a start of the machine."""
    findings = joined(site, tmp_path, SPELL, [(0, cut), (cut, 601)])

    assert starved(findings) == [(100, 170, 140)]
    assert (findings.logs, findings.rows, findings.run_ms, findings.starts) == (1, 601, 600_000, 0)
    assert (findings.gaps.count, findings.overlap_ms, notes(findings)) == (0, 0, ())


def test_over_a_gap_the_logic_goes_on_as_it_was(site: Settings, tmp_path: Path) -> None:
    """Catches an integral that begins at nothing behind a gap, and a gap that counts as short of oil or as healthy.

    30 s short of oil at weight 1.5 lie before the gap of 20 s: 45 s of 60 s. Behind it 10 s more fill them.
    """
    long = made(600, lambda s: 45 if 100 < s <= 190 else 120)
    findings = joined(site, tmp_path, long, [(0, 131), (150, 601)])

    assert starved(findings) == [(100, 130, None), (150, 190, 160)]
    assert [event.ends_with_log for event in sorted(findings.gravest.all(), key=lambda e: e.start_ms)] == [True, False]
    assert (findings.starved_ms, findings.doubted_ms, findings.gaps.ms) == (70_000, 0, 20_000)
    assert findings.run_ms == findings.elapsed_ms - 20_000 == 580_000
    assert notes(findings) == ("1 gap of 20.0 s together, the longest 20.0 s",)


def test_after_longer_than_it_remembers_the_logic_begins_anew(site: Settings, tmp_path: Path) -> None:
    """Catches an integral of last month that stops a machine the moment its next log begins.

    Behind the gap there are 10 s of grace and 29 s at weight 1.5, which fill no 60 s by themselves.
    """
    day = dataclasses.replace(SPELL, time_ms=SPELL.time_ms + np.where(SPELL.time_ms > 130_000, 7_200_000, 0))
    findings = joined(site, tmp_path, day, [(0, 131), (131, 601)])

    assert starved(findings) == [(100, 130, None), (7331, 7370, None)]
    assert findings.gaps.longest_ms == 7_201_000


def test_a_gap_within_one_file_of_the_logger_was_lost(site: Settings, tmp_path: Path) -> None:
    """Catches flat stretches that an import took for gaps, and that nobody hears of beside the verdict."""
    quiet = made(1000, lambda s: 120)
    findings = joined(site, tmp_path, quiet, [(0, 200), (599, 1001)], source="march.csv")

    assert findings.gaps.lost_ms == 400_000
    assert findings.judged_share == pytest.approx(0.6)
    assert "judged on 60 % of its hours" in [doubt.text for doubt in findings.doubts or ()]
    assert notes(findings) == ("1 gap of 6.7 min together, the longest 6.7 min, 6.7 min of them lost within a file",)


@pytest.mark.parametrize(
    ("ran", "to", "doubted"),
    [
        ((0, 3000), 1301, True),
        ((0, 1001), 1301, True),
        ((1301, 3000), 1301, True),
        ((0, 700), 1301, False),
        ((0, 3000), 1299, False),
    ],
)
def test_what_happened_in_a_gap_beside_which_it_ran_cannot_be_told(
    ran: tuple[int, int],
    to: int,
    doubted: bool,
    site: Settings,
    tmp_path: Path,
) -> None:
    """Catches a machine called healthy of whose one starved spell no row is left; and a doubt where it stood."""
    quiet = made(3000, lambda s: 120 if ran[0] <= s < ran[1] else 0, running=lambda s: ran[0] <= s < ran[1])
    findings = joined(site, tmp_path, quiet, [(0, 1001), (to, 3001)], source="march.csv")
    texts = [doubt.text for doubt in findings.doubts or () if "nobody saw" in doubt.text]

    assert findings.judged_share > 0.8
    assert (
        texts
        == ["5.0 min lost in 1 gap of over 5.0 min beside which it ran: nobody saw whether it was short of oil then"]
        * doubted
    )


@pytest.mark.parametrize("again", [(0, 601), (300, 601), (120, 400), (590, 601)])
def test_what_two_files_tell_counts_once(again: tuple[int, int], site: Settings, tmp_path: Path) -> None:
    """Catches a month exported twice that gives two spells, and run hours of more than there were."""
    findings = joined(site, tmp_path, SPELL, [(0, 601), again])
    begin, end = again

    assert starved(findings) == [(100, 170, 140)]
    assert (findings.rows, findings.run_ms, findings.logs) == (601, 600_000, 1)
    assert findings.overlap_ms == (end - 1 - begin) * 1000
    assert sorted((piece.rows, piece.doubled) for piece in findings.pieces) == [(0, end - begin), (601, 0)]
    assert "recorded in two files, counted once" in notes(findings)[0]


def test_a_file_that_begins_in_another_goes_on_behind_it(site: Settings, tmp_path: Path) -> None:
    """Catches rows behind an overlap that are lost with it."""
    findings = joined(site, tmp_path, SPELL, [(0, 150), (90, 601)])

    assert starved(findings) == [(100, 170, 140)]
    assert (findings.rows, findings.overlap_ms) == (601, 59_000)


def overlapping(site: Settings, folder: Path, second: Trace, step_ms: int = 0, rows: int = 1) -> Findings:
    """Examine a log, and a second one of the same times that begins 100 s later, step_ms off, with every so many rows."""
    parts = []
    for number, (trace, offset) in enumerate(((SPELL, 0), (second, 100_000 + step_ms))):
        part = pieces(trace, [100])[1] if number else trace
        kept = {name: getattr(part, name)[:: rows if number else 1] for name in ARRAYS}
        kept["time_ms"] = kept["time_ms"] - kept["time_ms"][0]
        moment = MIDNIGHT + dt.timedelta(milliseconds=offset)
        parts.append(Part(write(folder / f"{number}.csv", dataclasses.replace(part, **kept)), moment))
    return examine(site, ("m", parts), fast=False)


HEALTHY = made(600, lambda s: 120)


@pytest.mark.parametrize(("step_ms", "rows"), [(0, 1), (500, 1), (0, 3)])
def test_two_files_of_the_same_times_that_disagree_are_said_first(
    step_ms: int, rows: int, site: Settings, tmp_path: Path
) -> None:
    """Catches the second file dropped without a word: one tells a spell, the other health, and both cannot be right."""
    findings = overlapping(site, tmp_path, HEALTHY, step_ms, rows)
    why = reasons(findings)

    assert why[0].startswith("two files DISAGREE in 1")
    assert "oil pressure by up to 75.0 kPa: are both of this machine" in why[0]
    assert starved(findings) == [(100, 170, 140)]


def test_two_files_that_disagree_are_never_healthy(site: Settings, tmp_path: Path) -> None:
    """Catches a spell in the file that is not taken, beside a machine that is called not starved."""
    parts = [Part(write(tmp_path / "a.csv", HEALTHY), MIDNIGHT), Part(write(tmp_path / "b.csv", SPELL), MIDNIGHT)]
    assert ADVICE[rank(examine(site, ("m", parts), fast=False))] == "cannot tell"


@pytest.mark.parametrize(("step_ms", "rows"), [(0, 1), (500, 1), (0, 3)])
def test_two_files_that_agree_are_counted_once_without_a_doubt(
    step_ms: int, rows: int, site: Settings, tmp_path: Path
) -> None:
    """Catches a doubt about every month that was exported twice, be it rounded, thinned or half a second off."""
    rounded = dataclasses.replace(SPELL, oil_pa=SPELL.oil_pa // 500 * 500)
    findings = overlapping(site, tmp_path, rounded, step_ms, rows)

    assert not any("DISAGREE" in line or "compared" in line for line in reasons(findings))
    assert starved(findings) == [(100, 170, 140)]
    assert "recorded in two files, counted once" in notes(findings)[0]


def test_files_that_cannot_be_compared_are_said(site: Settings, tmp_path: Path) -> None:
    """Catches agreement stated of rows of which none was held against another."""
    sparse = {name: getattr(SPELL, name)[::120] for name in ARRAYS}
    first = dataclasses.replace(SPELL, **sparse)
    parts = [Part(write(tmp_path / "a.csv", first), MIDNIGHT), Part(write(tmp_path / "b.csv", SPELL), MIDNIGHT)]
    why = reasons(examine(site, ("m", parts), fast=False))

    assert why[0] == "two files cover the same times with rows too far apart to compare"


def test_every_table_says_when_on_the_wall_and_from_which_file(tmp_path: Path, settings_file: Path) -> None:
    """Catches seconds since the start of a file that nobody has, times of another zone, and a night of a clock change.

    01:59:50 to 03:01:00 in Oslo, 29 March 2026: there is no hour from two to three.
    """
    write(tmp_path / "site" / "a.csv", SPELL)
    moment = 'start_utc = 2026-03-29T00:58:10Z\nzone = "Europe/Oslo"\nsource = "logger 7, March.csv"\nundecided = true'
    (tmp_path / "site" / "library.toml").write_text(entry("a", moment))
    out = tmp_path / "events.csv"
    done = CliRunner().invoke(
        main, ["triage", str(tmp_path / "site"), "--settings", str(settings_file), "--csv", str(out)]
    )
    told = " ".join(done.stdout.split())
    (line,) = csv.DictReader(io.StringIO(out.read_text()))

    assert done.exit_code == 0, done.stderr
    assert "a.csv (from logger 7, March.csv), 2026-03-29 01:59:50 CET: starved spell of 70.0 s" in told
    assert (line["start"], line["end"]) == ("2026-03-29T01:59:50+01:00", "2026-03-29T03:01:00+02:00")
    assert (line["source"], line["start_s"], line["end_s"]) == ("logger 7, March.csv", "100.0", "170.0")


def test_hours_logged_stand_beside_hours_elapsed(tmp_path: Path, settings_file: Path) -> None:
    """Catches a machine that was seen for ten minutes of a day and reads as if it had been seen all day."""
    folder = tmp_path / "site"
    for name in "ab":
        write(folder / f"{name}.csv", made(600, lambda s: 120))
    days = (f"start_utc = 2026-03-0{day}T10:00:00Z\nundecided = true" for day in (1, 2))
    (folder / "library.toml").write_text("".join(entry(name, day) for name, day in zip("ab", days, strict=True)))
    done = CliRunner().invoke(main, ["triage", str(folder), "--settings", str(settings_file), "--json", "-"])
    (machine,) = json.loads(done.stdout)["machines"]

    assert (machine["hours_elapsed"], machine["in_all"]["hours_logged"]) == (24.166667, 0.333333)
    assert [(part["start"], part["end"]) for part in machine["parts"]] == [
        ("2026-03-01T10:00:00+00:00", "2026-03-01T10:10:00+00:00"),
        ("2026-03-02T10:00:00+00:00", "2026-03-02T10:10:00+00:00"),
    ]
    assert [day["day"] for day in machine["days"]] == ["2026-03-01", "2026-03-02"]
    assert machine["notes"] == ["1 gap of 23.8 h together, the longest 23.8 h"]


def test_a_lockout_is_reset_after_an_hour(site: Settings) -> None:
    """Catches a lockout that nobody resets, after which a starved machine is never stopped again, and one never told.

    Starved for 100 s in every 10 minutes of four hours: the third stop locks out, an hour later it begins again.
    """
    log = made(4 * 3600, lambda s: 10 if s % 600 > 500 else 120)
    findings = found(log, site)
    spells = 4 * 6

    assert findings.events[STARVED] == spells
    assert RESET_AFTER_MS == 3_600_000
    # Stops in the spells that end at 10, 20, 30 min; locked out until 90 min; then 100, 110, 120; until 180; 190 and on.
    assert (dict(findings.stops), findings.lockouts) == ({"oil": 9}, 3)
    assert findings.obeyed_run_ms < findings.run_ms - 2 * 3_600_000


@pytest.mark.slow("writes and reads long logs")
@pytest.mark.parametrize("cuts", [[1900], [3000, 5000, 5001], list(range(500, 14000, 500))])
def test_lockouts_do_not_depend_on_the_blocks_of_a_long_log(cuts: list[int], site: Settings) -> None:
    """Catches a reset that waits for the end of a block."""
    log = made(4 * 3600, lambda s: 10 if s % 600 > 500 else 120)
    whole, cut = found(log, site), found(log, site, cuts)

    assert (whole.stops, whole.lockouts, whole.obeyed_run_ms) == (cut.stops, cut.lockouts, cut.obeyed_run_ms)


def test_the_report_says_what_becomes_of_a_lockout(tmp_path: Path, settings_file: Path) -> None:
    """Catches a count of stops that leaves out what a lockout nobody resets would have hidden."""
    log = write(tmp_path / "a.csv", made(4 * 3600, lambda s: 10 if s % 600 > 500 else 120))
    done = CliRunner().invoke(main, ["triage", str(log), "--settings", str(settings_file)])
    told = " ".join(done.stdout.split())

    assert "Under these settings there would have been 9 stops, 3 of them with a lockout" in told
    assert "holds a machine until somebody resets it by hand" in told
    assert "be reset after 60.0 min (assumed)" in told


def test_a_trip_of_long_ago_does_not_lock_out(site: Settings, tmp_path: Path) -> None:
    """Catches trips of three days that add up to a lockout because the log was off at night."""
    day = made(300, lambda s: 10 if 100 < s <= 170 else 120)
    parts = []
    for number in range(3):
        moment = MIDNIGHT + dt.timedelta(days=number)
        parts.append(Part(write(tmp_path / f"{number}.csv", day), moment))
    findings = examine(site, ("m", parts), fast=False)

    assert (dict(findings.stops), findings.lockouts) == ({"oil": 3}, 0)
    assert examine(with_values(site, TRIP_MEMORY=604_800_000), ("m", parts), fast=False).lockouts == 1


def test_what_an_import_lost_stands_beside_the_machine(tmp_path: Path, settings_file: Path) -> None:
    """Catches hours that an import lost or held, which the trace itself no longer shows."""
    kept = made(600, lambda s: 120 if s > 200 else 0, running=lambda s: s > 200)
    write(tmp_path / "site" / "a.csv", kept)
    lost = (
        'undecided = true\nsource = "march.csv"\njudged_share = 0.61\nlosses = ["39 % of the 3.00 h are lost in gaps"]'
    )
    (tmp_path / "site" / "library.toml").write_text(entry("a", lost))
    done = CliRunner().invoke(main, ["triage", str(tmp_path / "site"), "--settings", str(settings_file)])
    told = " ".join(done.stdout.split())

    assert done.exit_code == 0, done.stderr
    assert "CANNOT TELL: judged on 61 % of its hours" in told
    assert "import of march.csv: 39 % of the 3.00 h are lost in gaps" in told


def test_what_many_imports_lost_is_told_by_the_worst(tmp_path: Path, settings_file: Path) -> None:
    """Catches a machine whose own events stand below a line for each file; and 0 % where a little was judged."""
    kept = made(600, lambda s: 120 if s > 200 else 0, running=lambda s: s > 200)
    text = ""
    for number in range(5):
        write(tmp_path / "site" / f"{number}.csv", kept)
        lost = f'losses = ["99.{number} % of the 505.00 h are lost in gaps"]'
        kept_share = f'source = "{number}.log"\njudged_share = {0.006 - number / 1000}\n{lost}'
        text += entry(str(number), f"undecided = true\n{kept_share}")
    (tmp_path / "site" / "library.toml").write_text(text)
    done = CliRunner().invoke(main, ["triage", str(tmp_path / "site"), "--settings", str(settings_file)])
    told = " ".join(done.stdout.split())

    assert done.exit_code == 0, done.stderr
    assert "5 files lost much in their import, most of all 4.log: 99.4 % of the 505.00 h" in told
    assert "import of" not in told
    assert "CANNOT TELL: judged on less than 1 % of its" in told


def test_one_machine_under_two_names_is_said_before_all_else(site: Settings, tmp_path: Path) -> None:
    """Catches hours and spells that count twice, since two files of a machine were imported without its name."""
    once = joined(site, tmp_path / "a", SPELL, [(0, 601)])
    part = joined(site, tmp_path / "b", SPELL, [(90, 400)])
    other = joined(site, tmp_path / "c", made(600, lambda s: 45 if 101 < s <= 170 else 120), [(0, 601)])
    named = [dataclasses.replace(one, machine=name) for one, name in ((once, "a"), (part, "b"), (other, "c"))]
    told = {one.machine: reasons(one) for one in triage(named, site).machines}

    assert told["a"][0] == "the same readings stand under b: one machine under two names? Hours and spells count twice"
    assert "stand under a" in told["b"][0]
    assert not any("stand under" in text for text in told["c"])
    undated = [dataclasses.replace(found(SPELL, site), machine=name) for name in "ab"]
    assert not any("stand under" in text for one in triage(undated, site).machines for text in reasons(one))


def test_days_without_a_spell_tell_one_machine_under_two_names(site: Settings, tmp_path: Path) -> None:
    """Catches a healthy machine's hours counted twice, which makes every rate look better than it is."""
    trace = made(7600, lambda s: 120 + s % 3, running=lambda s: int(s > 60))
    named = [
        dataclasses.replace(joined(site, tmp_path / name, trace, [(0, 7601)]), machine=name) for name in ("a", "b")
    ]
    assert all("stand under" in reasons(one)[0] for one in triage(named, site).machines)
