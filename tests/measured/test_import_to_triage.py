"""Whatever a log is written in: import, then triage, finds the starved spell, or says what keeps it from judging."""

import gzip
import random
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replay.measured.importing import import_logs
from replay.measured.losses import said_first
from replay.settings import read_settings
from replay.triage.ranking import ADVICE, notes, rank
from replay.triage.report import triage_logs

pytestmark = pytest.mark.slow("tries many cases of a large space")

FIXTURES = Path(__file__).parents[2] / "fixtures"
SPELL = (700, 1000)  # s, starved while running
LONG_S = 1500


def machine(seed: int) -> list[dict[str, float]]:
    """Return a machine second by second: kPa gauge, running from 100 s to 1400 s, starved within it."""
    chance = random.Random(seed)  # noqa: S311 - the same log each time
    rows = []
    for s in range(LONG_S):
        run, starved = 100 <= s < 1400, SPELL[0] <= s < SPELL[1]
        suction = 150 + chance.random() * 2
        net = (5 if starved else 220) if run else 0
        amps = (25 if starved else 42) + chance.random() if run else 0.2 + chance.random() / 10
        rows.append({"s": s, "oil": suction + net + chance.random() * 2, "suction": suction, "run": run, "amps": amps})
    return rows


PRESSURES = """
[site]
altitude = "0 m"
[oil_pressure]
column = "oil"
unit = "kPa"
reference = "gauge"
{oil}
[suction_pressure]
column = "suction"
unit = "kPa"
reference = "gauge"
{suction}
"""
STATUS, CURRENT = '[running]\ncolumn = "run"\n', '[running]\ncolumn = "amps"\nunit = "A"\n'
LEVELS = 'current_above = "14 A"\ncurrent_below = "7 A"\nleast_run = "4 s"\nleast_stop = "4 s"\n'


HELD = 'on_change = true\nlongest_hold = "20 s"'
FORMS = ["wide", "long", "on change", "sparse", "quality", "newest first", "torn"]


def written(rows: list[dict[str, float]], form: str, *, units: bool) -> list[list[str]]:
    """Return the cells of a log in some form, its header first."""
    lines = []
    for row in rows:
        oil, suction = (f"{row[name]:.1f}" + " kPa" * units for name in ("oil", "suction"))
        if form == "sparse" and row["s"] % 7:
            oil = suction = ""
        if form == "on change":
            oil, suction = (f"{row[name]:.0f}"[:-1] + "0" + " kPa" * units for name in ("oil", "suction"))
        amps = f"{round(row['amps'] / 5) * 5}" if form == "on change" else f"{row['amps']:.1f}"
        marked = "Bad" if form == "quality" and SPELL[0] <= row["s"] < SPELL[1] else "Good"
        lines.append([f"{row['s']:.0f}", oil, suction, f"{row['run']:d}", amps, marked])
    if form == "torn":
        for line in lines[600:1100]:
            line[3] = line[4] = ""
    if form == "on change":
        lines = [line for line, before in zip(lines, [[], *lines], strict=False) if line[1:] != before[1:]]
    if form == "long":
        head = ("oil", "suction", "run", "amps")
        return [["t", "tag", "value"], *([line[0], tag, line[n]] for line in lines for n, tag in enumerate(head, 1))]
    return [["t", "oil", "suction", "run", "amps", "q"], *(lines[::-1] if form == "newest first" else lines)]


def profile_of(form: str, running: str) -> str:
    """Return the profile of a log in some form."""
    time = '[time]\ncolumn = "t"\nunit = "s"\nmax_gap = "3 s"\n'
    time += 'on_change = true\nlongest_hold = "1 h"\n' if form == "on change" else ""
    time += '[long]\ntag = "tag"\nvalue = "value"\n' if form == "long" else ""
    held = HELD if form == "sparse" else ""
    quality = '\n[quality]\ncolumn = "q"\ngood = ["Good"]\n' if form == "quality" else ""
    return '[file]\ndecimal = "."\n' + time + PRESSURES.format(oil=held, suction=held) + running + quality


@st.composite
def exports(draw: st.DrawFn) -> tuple[bytes, str, str]:
    """Draw a log in some form: its bytes, its profile, and what form that is."""
    form, seed = draw(st.sampled_from(FORMS)), draw(st.integers(0, 9))
    running = draw(st.sampled_from([STATUS, CURRENT + LEVELS]))
    lines = written(machine(seed), form, units=form != "long" and draw(st.booleans()))
    separator, encoding = draw(st.sampled_from([";", "\t", ","])), draw(st.sampled_from(["utf-8", "utf-16"]))
    data = "".join(separator.join(cells) + "\n" for cells in lines).encode(encoding)
    return gzip.compress(data) if draw(st.booleans()) else data, profile_of(form, running), form


@settings(max_examples=12, deadline=None)
@given(export=exports())
def test_the_spell_is_found_or_what_hides_it_is_said(export: tuple[bytes, str, str]) -> None:
    """Catches a starved spell that disappears on the way in without a word."""
    data, profile, form = export
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "log.csv").write_bytes(data)
        (folder / "p.toml").write_text(profile)
        found = import_logs([folder / "log.csv"], folder / "lib", folder / "p.toml")
        assert not found.refused
        (seen,) = triage_logs([folder / "lib"], read_settings(FIXTURES / "settings.toml")).machines
    (report,) = found.reports
    unseen_s = (seen.run_ms - seen.seen_ms + seen.doubted_ms) / 1000  # held readings stand still: a stuck sensor

    if form in ("quality", "torn"):
        assert said_first(report.counts)
        assert ADVICE[rank(seen)] != "not starved"
        assert any(line.startswith("import of log") for line in notes(seen))
        assert seen.judged_share < 0.8
    else:
        assert seen.starved_ms / 1000 + unseen_s > 0.9 * (SPELL[1] - SPELL[0]) - 20
        assert abs(sum(part.run_ms for part in report.counts.parts) / 1000 - 1300) < 30
    if form == "on change":
        assert any("may stand still for 60.0 min" in doubt for doubt in report.doubts)
    if form not in ("quality", "torn"):
        assert seen.starved_ms / 1000 > 0.9 * (SPELL[1] - SPELL[0]) - 20
