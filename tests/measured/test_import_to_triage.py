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


@st.composite
def exports(draw: st.DrawFn) -> tuple[bytes, str, str]:
    """Draw a log in some form: its bytes, its profile, and what form that is."""
    rows = machine(draw(st.integers(0, 9)))
    form = draw(st.sampled_from(["wide", "wide", "long", "on change", "sparse", "quality", "newest first", "torn"]))
    running = draw(st.sampled_from([STATUS, CURRENT + LEVELS]))
    separator = draw(st.sampled_from([";", "\t", ","]))
    units = draw(st.booleans()) and form != "long"
    time = '[time]\ncolumn = "t"\nunit = "s"\nmax_gap = "3 s"\n'
    held = 'on_change = true\nlongest_hold = "20 s"'
    marks = ["Good"] * LONG_S
    if form == "quality":  # the readings of the spell itself are marked as bad, and frozen at a healthy value
        for row in rows[SPELL[0] : SPELL[1]]:
            row["oil"] = rows[SPELL[0] - 1]["oil"]
        marks[SPELL[0] : SPELL[1]] = ["Bad"] * (SPELL[1] - SPELL[0])
    profile = time + PRESSURES.format(oil=held if form == "sparse" else "", suction=held if form == "sparse" else "")
    profile += running + ("\n[quality]\ncolumn = 'q'\ngood = ['Good']\n" if form == "quality" else "")
    written = []
    for row, mark in zip(rows, marks, strict=True):
        oil, suction = (f"{row[name]:.1f}" + (" kPa" if units else "") for name in ("oil", "suction"))
        if form == "sparse" and row["s"] % 7:
            oil = suction = ""
        written.append([f"{row['s']:.0f}", oil, suction, f"{row['run']:d}", f"{row['amps']:.1f}", mark])
    if form == "on change":
        profile = profile.replace('max_gap = "3 s"\n', f'max_gap = "3 s"\n{held.replace("20 s", "1 h")}\n')
        for row in written:
            row[1:3] = [
                f"{round(float(cell.split()[0]), -1):.0f}" + cell[cell.find(" ") :] * units for cell in row[1:3]
            ]
            row[4] = f"{round(float(row[4]) / 5) * 5}"
        written = [row for row, before in zip(written, [[], *written], strict=False) if row[1:] != before[1:]]
    if form == "torn":  # half a day of rows without status, and the spell among them
        for row in written[600:1100]:
            row[3] = row[4] = ""
    head = ["t", "oil", "suction", "run", "amps", "q"]
    if form == "long":
        names = head[1:5]
        written = [[row[0], name, row[place]] for row in written for place, name in enumerate(names, start=1)]
        head, profile = ["t", "tag", "value"], profile.replace("[site]", '[long]\ntag = "tag"\nvalue = "value"\n[site]')
    if form == "newest first":
        written = written[::-1]
    data = "".join(separator.join(cells) + "\n" for cells in [head, *written]).encode(
        draw(st.sampled_from(["utf-8", "utf-16"]))
    )
    return gzip.compress(data) if draw(st.booleans()) else data, f'[file]\ndecimal = "."\n{profile}', form


@settings(max_examples=40, deadline=None)
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
    starved_s = seen.starved_ms / 1000

    if form in ("quality", "torn"):
        assert said_first(report.counts)
        assert ADVICE[rank(seen)] != "not starved"
        assert any(line.startswith("import of log") for line in notes(seen))
        assert seen.judged_share < 0.8
    else:
        assert starved_s > 0.9 * (SPELL[1] - SPELL[0]) - 20
        assert abs(sum(part.run_ms for part in report.counts.parts) / 1000 - 1300) < 30
