"""Whatever a log is written in: its draft, the questions answered, its import and triage find the starved spell.

Answered is what is asked and nothing else: a newcomer changes no line that does not ask. What a draft took wrongly
without asking stays wrong, and the spell is lost.
"""

import datetime as dt
import tempfile
from pathlib import Path

import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from replay.measured.guess import draft_profile
from replay.measured.importing import import_logs
from replay.settings import Settings, read_settings
from replay.triage.ranking import ADVICE, rank, reasons
from replay.triage.report import triage_logs
from tests.measured.test_guess_languages import LANGUAGES
from tests.measured.test_import_to_triage import FIXTURES, SPELL, machine
from tests.support.triage_logs import with_values

pytestmark = pytest.mark.slow("tries many cases of a large space")

KPA = {"bar": 100.0, "kPa": 1.0, "psi": 6.894757, "mbar": 0.1, "kg/cm2": 98.0665}
START = dt.datetime(2026, 3, 2, 8, 0)  # noqa: DTZ001 - a logger's local time
TIMES = {
    "iso": lambda s: f"{START + dt.timedelta(seconds=s)}",
    "day first": lambda s: f"{START + dt.timedelta(seconds=s):%d.%m.%Y %H:%M:%S}",
    "month first": lambda s: f"{START + dt.timedelta(seconds=s):%m/%d/%Y %I:%M:%S %p}",
    "elapsed": str,
    "serial": lambda s: f"{46083 + s / 86400:.8f}",
}
FORMS = ("wide", "newest first", "on change", "quality", "words", "header again", "empty status")
Answers = dict[tuple[str, str], object]


def answered(text: str, answers: Answers) -> str:
    """Return a draft with its questions answered; a key that is None goes."""
    table = tomlkit.parse(text)
    for section, keys in table.items():
        for key in [key for key, value in keys.items() if value == "?"] if hasattr(keys, "items") else ():
            if answers[section, key] is None:
                del keys[key]
            else:
                keys[key] = answers[section, key]
    return tomlkit.dumps(table)


@st.composite
def exports(draw: st.DrawFn) -> tuple[str, Answers, str]:
    """Draw a log: its text, what its owner answers, and its form."""
    form, clock = draw(st.sampled_from(FORMS)), draw(st.sampled_from(list(TIMES)))
    picked, left, *_, (on, off) = LANGUAGES[draw(st.sampled_from(list(LANGUAGES)))]
    unit, separator = draw(st.sampled_from(list(KPA))), draw(st.sampled_from([";", "\t"]))
    comma, absolute = draw(st.booleans()), draw(st.booleans())
    where = draw(st.sampled_from(["name", "unit row", "cells", "nowhere"]))
    base = 101.325 if absolute else 0.0
    bare = [name.split(" (")[0] for name in picked]
    oil, suction = (f"{name} ({unit})" if where == "name" else name for name in bare[:2])
    decoy = draw(st.sampled_from([name.split(" (")[0] for name in left if "(" in name]))

    def number(kpa: float) -> str:
        told = f"{kpa / KPA[unit]:.3f}"
        return (told.replace(".", ",") if comma else told) + (f" {unit}" if where == "cells" else "")

    rows = []
    for row in machine(draw(st.integers(0, 3))):
        lost = form == "words" and row["s"] % 50 == 7
        pressures = ["Bad Input" if lost else number(base + row[name]) for name in ("oil", "suction")]
        if form == "on change":
            pressures = [number(base + round(row[name], -1)) for name in ("oil", "suction")]
        mark = ["Bad" if SPELL[0] <= row["s"] < SPELL[0] + 60 else "Good"] if form == "quality" else []
        moment = TIMES[clock](int(row["s"]))
        moment = moment.replace(".", ",") if comma and clock == "serial" else moment
        rows.append([moment, *pressures, on if row["run"] else off, number(base + 900), *mark])
    if form == "on change":
        rows = [row for row, before in zip(rows, [[], *rows], strict=False) if row[1:] != before[1:]]
    if form == "empty status":
        states = [row[3] for row in rows]
        for row, before in zip(rows[1:], states, strict=False):
            row[3] = "" if row[3] == before else row[3]
    head = ["Time (s)" if clock == "elapsed" else "Time", oil, suction, bare[2], decoy]
    head += ["Quality"] if form == "quality" else []
    lines = [head, *(rows[::-1] if form == "newest first" else rows)]
    if form == "header again":
        lines.insert(900, head)
    if where == "unit row":
        lines.insert(1, ["", unit, unit, "", unit, *[""] * (len(head) - 5)])
    pressures = ("oil_pressure", "suction_pressure")
    answers: Answers = {(of, "reference"): "absolute" if absolute else "gauge" for of in pressures}
    answers |= {(of, "unit"): unit if where == "nowhere" else None for of in pressures}
    answers |= dict(zip([(of, "column") for of in (*pressures, "running")], (oil, suction, bare[2]), strict=True))
    answers |= {("running", "on"): [on], ("running", "off"): [off], ("running", "on_change"): True}
    answers |= {("time", "zone"): "Europe/Oslo", ("time", "order"): "MDY" if clock == "month first" else "DMY"}
    answers |= {("time", "form"): "serial day" if clock == "serial" else "elapsed", ("time", "column"): head[0]}
    answers |= {("time", "unit"): None if clock == "serial" else "s", ("time", "max_gap"): "3 s"}
    answers |= {("time", "on_change"): True, ("time", "longest_hold"): "30 min", ("site", "altitude"): "0 m"}
    answers |= {("file", "decimal"): "," if comma else "."}
    answers |= {(of, "longest_hold"): "30 min" for of in pressures} | {(of, "on_change"): True for of in pressures}
    answers |= {(of, key): value for of in pressures for key, value in (("scale", 1), ("offset", 0))}
    return "".join(separator.join(line) + "\n" for line in lines), answers, form


@pytest.fixture(scope="module")
def site() -> Settings:
    """Return the settings of the demo site, for logs whose rows come every second."""
    return with_values(read_settings(FIXTURES / "settings.toml"), STUCK_AFTER=60_000)


@settings(max_examples=12, deadline=None)
@given(export=exports())
def test_a_drafted_log_gives_its_spell_or_says_why_not(export: tuple[str, Answers, str], site: Settings) -> None:
    """Catches a draft that takes the wrong column, unit, mark or order without asking, and so loses the spell."""
    text, answers, form = export
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "log.csv").write_text(text, encoding="utf-8")
        (folder / "p.toml").write_text(answered(draft_profile(folder / "log.csv"), answers), encoding="utf-8")
        paths = ([folder / "log.csv"], folder / "lib", folder / "p.toml")
        found = import_logs(*paths, repair=form == "header again")
        if form == "on change" and found.refused:  # too few rows to be told from a log that breaks off
            assert "[time] max_gap" in found.refused[0]
            assert "on_change and longest_hold" in found.refused[0]
            return
        assert not found.refused
        (seen,) = triage_logs([folder / "lib"], site).machines
    missing = 60 if form == "quality" else 0

    assert ADVICE[rank(seen)] in ("open first", "open next"), reasons(seen)
    assert seen.starved_ms / 1000 > 0.85 * (SPELL[1] - SPELL[0] - missing) - 20
    assert seen.run_ms / 1000 == pytest.approx(1300, abs=30 + 2 * missing)
