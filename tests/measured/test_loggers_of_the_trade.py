"""Files as loggers of the trade write them, each with one starved spell of 24.8 min: found, asked about, or refused.

How to add a file: its function among the others, with what its owner answers to the draft's questions; where nobody can
answer them, the words of the question or of the refusal.
"""

import datetime as dt
import random
import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import tomlkit

from replay.ground.refusal import Refusal
from replay.measured.guess import draft_profile
from replay.measured.importing import import_logs
from replay.settings import Settings, read_settings
from replay.triage.ranking import ADVICE, rank, reasons
from replay.triage.report import triage_logs
from tests.measured.test_import_to_triage import FIXTURES
from tests.support.triage_logs import with_values

pytestmark = pytest.mark.slow("drafts, imports and triages some seventy files")

SPELL = (3000, 4488)  # s
START = dt.datetime(2026, 3, 2, 8, 0)  # noqa: DTZ001 - a logger's local time
UNIX = 1772438400  # the same moment as UTC
PSI, KGF = 14.5038, 1.01972  # in a bar
ASKED = {"altitude": "0 m", "reference": "gauge", "zone": "Europe/Berlin", "order": "DMY", "below_zero": "psi"}
Answers = dict[tuple[str, str], object]


@dataclass(frozen=True)
class Row:
    """One moment of a machine: s, pressures in bar gauge, whether it runs, the current of its motor."""

    s: int
    oil: float
    suction: float
    run: bool
    amps: float

    def at(self, hour: int = 8, day: int = 2, month: int = 3) -> dt.datetime:
        """Return the moment on a clock that began at some hour."""
        return START.replace(hour=hour, day=day, month=month) + dt.timedelta(seconds=self.s)


@dataclass(frozen=True)
class File:
    """A logger's file: its text, what is answered to a draft, and what is asked or refused where that is the end."""

    text: str | bytes
    answers: Answers = field(default_factory=dict)
    asks: str = ""
    refused: str = ""


def machine(step: int = 6, seed: int = 1, spell: tuple[int, int] = SPELL) -> list[Row]:
    """Return two hours of a machine that runs from 600 s to 6600 s and pulls a vacuum without oil in its spell."""
    chance, rows, suction = random.Random(seed), [], 2.0  # noqa: S311 - the same log each time
    for s in range(0, 7200, step):
        run = 600 <= s < 6600
        starved = run and spell[0] <= s < spell[1]
        suction += ((-0.55 if starved else 2.0 if run else 2.6) - suction) * min(1, step / 30)
        net = (0.12 if starved else 2.3) if run else 0.0
        low, high = suction + chance.uniform(-0.02, 0.02), suction + net + chance.uniform(-0.03, 0.03)
        amps = (28 if starved else 45) + chance.uniform(-1, 1) if run else chance.uniform(0, 0.2)
        rows.append(Row(s, high, low, run, amps))
    return rows


ROWS = machine()
HEAD = ("Time", "Oil pressure (barg)", "Suction pressure (barg)", "Running")


def written(head: tuple[str, ...], cells: Callable[[Row], list[str]], separator: str = ",", above: str = "") -> str:
    """Return a table of the machine's rows."""
    return above + "".join(separator.join(row) + "\n" for row in (list(head), *map(cells, ROWS)))


def f2(bar: float) -> str:
    """Return a pressure in two decimals."""
    return f"{bar:.2f}"


def on_clock(time: Callable[[Row], str], name: str = "Time", separator: str = ",", **told: object) -> File:
    """Return a log whose times are written so."""
    head = (name, *HEAD[1:])
    text = written(head, lambda r: [time(r), f2(r.oil), f2(r.suction), str(int(r.run))], separator)
    return File(text, **told)  # type: ignore[arg-type]


def in_units(oil: str, suction: str, to_oil: Callable[[float], str], to_suction: Callable[[float], str]) -> str:
    """Return a log whose pressures are written so."""
    return written(
        ("Time", oil, suction, "Run"), lambda r: [iso(r), to_oil(r.oil), to_suction(r.suction), str(int(r.run))]
    )


def with_status(name: str, word: Callable[[Row], str], **answers: object) -> File:
    """Return a log whose running status is written so."""
    text = written((*HEAD[:3], name), lambda r: [iso(r), f2(r.oil), f2(r.suction), word(r)])
    return File(text, {("running", "column"): name, **{("running", key): value for key, value in answers.items()}})


def iso(row: Row) -> str:
    """Return a local time as most write it."""
    return f"{row.at()}"


def starved(row: Row) -> bool:
    """Say whether a row lies in the spell."""
    return row.run and SPELL[0] <= row.s < SPELL[1]


def both(key: str, value: object) -> Answers:
    """Return an answer for both pressures."""
    return {("oil_pressure", key): value, ("suction_pressure", key): value}


def number(unit: str, form: str = "elapsed") -> Answers:
    """Return what is answered of times that are plain numbers."""
    return {("time", "form"): form, ("time", "unit"): unit, ("time", "max_gap"): "20 s"}


def parts(*heads: tuple[tuple[str, ...], Callable[[Row], list[str]]]) -> str:
    """Return a log whose header changes after each of as many equal parts."""
    each = len(ROWS) // len(heads)
    lines = []
    for place, (head, cells) in enumerate(heads):
        lines += [list(head), *map(cells, ROWS[place * each : (place + 1) * each])]
    return "".join(",".join(line) + "\n" for line in lines)


BERLIN = ZoneInfo("Europe/Berlin")
AUTUMN = dt.datetime(2026, 10, 24, 23, 0, tzinfo=dt.UTC)
FACTOR = {"asks": r'scale = "\?"  # DOUBT: .* is written beside a unit'}
CLOCKS = {
    "ms of day": on_clock(lambda r: str((28800 + r.s) * 1000), "ms of day", answers=number("ms")),
    "seconds of day": on_clock(lambda r: str(28800 + r.s), "seconds of day", answers=number("s")),
    "millis": on_clock(lambda r: str(r.s * 1000 + 1234567), "millis", answers={**number("ms"), ("time", "column"): "millis"}),
    "run hours": on_clock(lambda r: f"{4000 + r.s / 3600:.4f}", "Run hours", answers={("time", "column"): "Run hours"}),
    "minutes in the name": on_clock(lambda r: f"{r.s / 60:.3f}", "Time (min)"),
    "serial days": on_clock(lambda r: f"{46083 + r.s / 86400:.6f}", "Date", answers=number("", "serial day")),
    "epoch with a fraction": on_clock(lambda r: f"{UNIX + r.s + 0.25:.2f}", "timestamp"),
    "epoch in us": on_clock(lambda r: str((UNIX + r.s) * 10**6), "timestamp"),
    "epoch in ns": on_clock(lambda r: str((UNIX + r.s) * 10**9), "timestamp"),
    "seconds since 1904": on_clock(lambda r: str(UNIX + 2082844800 + r.s), asks='"elapsed", "epoch" or "serial day"'),
    "years of two digits": on_clock(lambda r: f"{r.at():%d.%m.%y %H:%M:%S}"),
    "AM and PM": on_clock(lambda r: f"{r.at(11):%m/%d/%Y %I:%M:%S %p}", answers={("time", "order"): "MDY"}),
    "a. m. and p. m.": on_clock(
        lambda r: f"{r.at(11):%d/%m/%Y %I:%M:%S} {'a. m.' if r.at(11).hour < 12 else 'p. m.'}", "Hora"
    ),
    "CET": on_clock(lambda r: f"{iso(r)} CET"),
    "EST": on_clock(lambda r: f"{r.at():%m/%d/%Y %H:%M:%S} EST", answers={("time", "order"): "MDY"}),
    "CEST, then CET": on_clock(lambda r: f"{(AUTUMN + dt.timedelta(seconds=r.s)).astimezone(BERLIN):%d.%m.%Y %H:%M:%S %Z}"),
    "offsets that change": on_clock(lambda r: (AUTUMN + dt.timedelta(seconds=r.s)).astimezone(BERLIN).isoformat()),
    "French months": on_clock(lambda r: f"{r.at(month=2):%d} févr. {r.at():%Y %H:%M:%S}"),
    "Spanish months": on_clock(lambda r: f"{r.at(month=1):%d-ene-%Y %H:%M:%S}"),
    "Italian months": on_clock(lambda r: f"{r.at(month=1):%d gen %Y %H.%M.%S}"),
    "Polish months": on_clock(lambda r: f"{r.at(month=8):%d sie %Y %H:%M:%S}"),
    "French July": on_clock(lambda r: f"{r.at(month=7):%d juil. %Y %H:%M:%S}"),
    "days of the week": on_clock(lambda r: f"Mon {r.at():%d-Mar-%Y %H:%M:%S}"),
    "compact": on_clock(lambda r: f"{r.at():%Y%m%dT%H%M%SZ}"),
    "a comma behind seconds": on_clock(lambda r: f"{iso(r)},250", separator=";"),
    "24:00:00": on_clock(
        lambda r: f"{r.at(23):%d.%m.%Y %H:%M:%S}" if r.s != 3600 else f"{r.at(23) - dt.timedelta(1):%d.%m.%Y} 24:00:00"
    ),
    "no seconds": on_clock(lambda r: f"{r.at():%d/%m/%Y %H:%M}", answers={("time", "step"): "6 s", ("time", "max_gap"): "20 s"}),
    "two clocks": File(
        written(
            ("Local time", "Epoch ms", *HEAD[1:]),
            lambda r: [f"{r.at():%m/%d/%Y %H:%M:%S}", str((UNIX + r.s) * 1000), f2(r.oil), f2(r.suction), str(int(r.run))],
        ),
        {("time", "order"): "MDY"},
    ),
    "date and digits": File(
        written(
            ("Date", "Time", *HEAD[1:]),
            lambda r: [*f"{r.at():%Y-%m-%d %H%M%S}".split(), f2(r.oil), f2(r.suction), str(int(r.run))],
        )
    ),
    "hours, minutes and seconds in digits": on_clock(
        lambda r: f"{r.at():%H%M%S}", asks="hours, minutes and seconds in digits", answers=number("s"),
        refused="read as hours, minutes and seconds in digits: 080000",
    ),
    "a number of rows": on_clock(lambda r: str(r.s // 6 + 1), "Sample", asks="a row number and not a time"),
    "date and fraction of a day": File(
        written(
            ("Date", "Time", *HEAD[1:]),
            lambda r: ["2026-03-02", f"{(28800 + r.s) / 86400:.6f}", f2(r.oil), f2(r.suction), str(int(r.run))],
        ),
        asks="fractions of a day: save it as it is shown",
    ),
    "year and day": on_clock(lambda r: f"{26061 + r.s / 86400:.6f}", "Date (YYDDD)", asks='"elapsed", "epoch" or "serial'),
    "weeks": on_clock(lambda r: f"2026-W10-1 {r.at():%H:%M:%S}", asks="no column looks like a time"),
    "days of the year": on_clock(lambda r: f"{r.at():%Y-%j %H:%M:%S}", asks="no column looks like a time"),
    "an interval": on_clock(lambda _: "6", "Interval (s)", asks="no column looks like a time"),
    "a rounded epoch": on_clock(lambda r: f"{(UNIX + r.s) * 1000:.5E}", asks='"elapsed", "epoch" or "serial day"'),
    "an unknown month": on_clock(
        lambda r: f"{r.at():%d}-qqq-{r.at():%Y %H:%M:%S}", asks='times such as "02-qqq-2026 08:00:00" cannot be read'
    ),
}  # fmt: skip
UNITS = {
    "psia beside psig": in_units("Oil (psia)", "Suction (psig)", lambda b: f"{b * PSI + 14.7:.1f}", lambda b: f"{b * PSI:.1f}"),
    "mmHg absolute": in_units("Oil (psia)", "Suction (mmHg abs)", lambda b: f"{b * PSI + 14.7:.1f}", lambda b: f"{(b + 1.01325) * 750.06:.0f}"),
    "kgf/cm²g": in_units("Oil (kgf/cm²g)", "Suction (kgf/cm²g)", lambda b: f"{b * KGF:.2f}", lambda b: f"{b * KGF:.2f}"),
    "kg/cm2(g) beside (a)": in_units("Oil kg/cm2(g)", "Suction kg/cm2(a)", lambda b: f"{b * KGF:.2f}", lambda b: f"{(b + 1.01325) * KGF:.2f}"),
    "MPa abs": in_units("Oil [MPa abs]", "Suction [MPa abs]", lambda b: f"{(b + 1.01325) / 10:.3f}", lambda b: f"{(b + 1.01325) / 10:.3f}"),
    "mbar(g)": in_units("Oil [mbar(g)]", "Suction [mbar(g)]", lambda b: f"{b * 1000:.0f}", lambda b: f"{b * 1000:.0f}"),
    "thousands in quotation marks": in_units("Oil [kPa abs]", "Suction [kPa abs]", lambda b: f'"{(b + 1.01325) * 100:,.1f}"', lambda b: f'"{(b + 1.01325) * 100:,.1f}"'),
    "atm": in_units("Oil (atm)", "Suction (atm)", lambda b: f"{b / 1.01325:.2f}", lambda b: f"{b / 1.01325:.2f}"),
}  # fmt: skip
FILES = CLOCKS | {name: File(text) for name, text in UNITS.items()} | {
    "bar without a mark": File(
        in_units("Oil (bar)", "Suction (bar)", lambda b: f2(b + 1.01325), lambda b: f2(b + 1.01325)), both("reference", "absolute")
    ),
    "tenths of bar": File(
        in_units("Oil [0.1 bar]", "Suction [0.1 bar]", lambda b: f"{b * 10:.1f}", lambda b: f"{b * 10:.1f}"), both("scale", 0.1)
    ),
    "tenths of bar, unanswered": File(
        in_units("Oil [0.1 bar]", "Suction [0.1 bar]", lambda b: f"{b * 10:.0f}", lambda b: f"{b * 10:.0f}"), **FACTOR
    ),
    "bar x10": File(in_units("Oil (bar x10)", "Suction (bar x10)", lambda b: f"{b * 10:.0f}", lambda b: f"{b * 10:.0f}"), **FACTOR),
    "bar*100": File(in_units("Oil bar*100", "Suction bar*100", lambda b: f"{b * 100:.0f}", lambda b: f"{b * 100:.0f}"), **FACTOR),
    "a row of units times ten": File(
        written(HEAD, lambda r: [iso(r), f"{r.oil * 10:.1f}", f"{r.suction * 10:.1f}", str(int(r.run))]).replace(
            ",".join(HEAD) + "\n", "Time,Oil,Suction,Running\n,bar*10,bar*10,\n"
        ),
        both("scale", 0.1) | both("unit", None),
    ),
    "255": with_status("Run", lambda r: "255" if r.run else "0", on=["255"], off=["0"]),
    "-1": with_status("Run", lambda r: "-1" if r.run else "0", on=["-1"], off=["0"]),
    "closed and open": with_status("Run contact", lambda r: "Closed" if r.run else "Open", on=["Closed"], off=["Open"]),
    "a start command": with_status("Start command", lambda r: str(int(r.run))),
    "what it is about to do": with_status(
        "Comp status", lambda r: "Off" if not r.run else "Oil fail delay" if r.suction < 0 else "On",
        on=["Oil fail delay", "On"], off=["Off"],
    ),
    "amperes": with_status("Comp Amps", lambda r: f"{r.amps:.1f}", unit="A"),
    "least, mean and most": File(
        written(
            ("Time", "Oil P avg (barg)", "Oil P min (barg)", "Oil P max (barg)", *HEAD[2:]),
            lambda r: [iso(r), f2(r.oil + 1.5 * (r.suction < 0)), f2(r.oil - 0.1), f2(r.oil + 3), f2(r.suction), str(int(r.run))],
        ),
        {("oil_pressure", "column"): "Oil P min (barg)"},
    ),
    "gauge and net": File(
        written(
            ("Time", "Oil (psig)", "Net oil pressure (psi)", "Suction (psig)", "Run"),
            lambda r: [iso(r), *(f"{b * PSI:.1f}" for b in (r.oil, r.oil - r.suction, r.suction)), str(int(r.run))],
        ),
        {("oil_pressure", "column"): "Oil (psig)", ("oil_pressure", "unit"): None},
    ),
    "a status that the current contradicts": File(
        written(
            (*HEAD, "Amps (A)"),
            lambda r: [iso(r), f2(r.oil), f2(r.suction), str(int(r.run and not starved(r))), f"{r.amps:.1f}"],
        ),
        asks='"Running"\\? In 2[01] % of the rows "Amps \\(A\\)" says otherwise',
    ),
    "alarms between": File(
        written(
            ("Time", "Oil press alarm", "Oil press (barg)", "LP alarm", "LP (barg)", "Trip", "Run"),
            lambda r: [iso(r), "0", f2(r.oil), "0", f2(r.suction), "0", str(int(r.run))],
        )
    ),
    "right to left": File(written(HEAD[::-1], lambda r: [str(int(r.run)), f2(r.suction), f2(r.oil), iso(r)])),
    "a time for each signal": File(
        written(
            ("Time 1", HEAD[1], "Time 2", HEAD[2], "Running"),
            lambda r: [iso(r), f2(r.oil), f"{r.at() + dt.timedelta(seconds=r.s // 2)}", f2(r.suction), str(int(r.run))],
        ),
        asks="Each holds times; they drift apart: .* save each pair of columns as a file",
    ),
    "blank rows": File(on_clock(iso).text.replace("\n", "\n\n")),  # type: ignore[union-attr, arg-type]
    "tags beside descriptions": File(
        "Time;Tag;Description;Value;Units\n" + "".join(
            f"{iso(r)};{tag};{about};{value};{unit}\n" for r in ROWS for tag, about, value, unit in (
                ("PT-41", "K1 oil pressure", f2(r.oil), "barg"), ("PT-42", "K1 suction pressure", f2(r.suction), "barg"),
                ("YS-43", "K1 running", str(int(r.run)), ""),
            )
        )
    ),
    "a column more midway": File(
        parts(
            (HEAD, lambda r: [iso(r), f2(r.oil), f2(r.suction), str(int(r.run))]),
            (("Time", "HP (barg)", *HEAD[1:]), lambda r: [iso(r), "12.0", f2(r.oil), f2(r.suction), str(int(r.run))]),
        ),
        asks="600 rows of readings in 4 columns, the rest of the file is in 5",
    ),
    "other units midway": File(
        parts(
            (HEAD, lambda r: [iso(r), f2(r.oil), f2(r.suction), str(int(r.run))]),
            (
                ("Time", "Oil pressure (psig)", "Suction pressure (psig)", "Running"),
                lambda r: [iso(r), f"{r.oil * PSI:.1f}", f"{r.suction * PSI:.1f}", str(int(r.run))],
            ),
        ),
        refused=r"line 602 = .*: another header: Oil pressure \(psig\), Suction pressure \(psig\) changed",
    ),
    "another order midway": File(
        parts(
            (HEAD, lambda r: [iso(r), f2(r.oil), f2(r.suction), str(int(r.run))]),
            (("Time", HEAD[2], HEAD[1], "Running"), lambda r: [iso(r), f2(r.suction), f2(r.oil), str(int(r.run))]),
        ),
        refused="line 602 = .*: another header: their order changed",
    ),
}  # fmt: skip


@pytest.fixture(scope="module")
def site() -> Settings:
    """Return the settings of the demo site, for logs whose rows come every few seconds."""
    return with_values(read_settings(FIXTURES / "settings.toml"), STUCK_AFTER=300_000, MAX_GAP=30_000)


def answered(text: str, answers: Answers) -> str:
    """Return a draft with its questions answered, and with what nobody asked but the owner adds."""
    table = tomlkit.parse(text)
    for section, keys in table.items():
        for key in [key for key, value in keys.items() if value == "?"] if hasattr(keys, "items") else ():
            answer = answers.get((section, key), ASKED.get(key))
            if answer in (None, ""):
                del keys[key]
            else:
                keys[key] = answer
    return tomlkit.dumps(table)


@pytest.mark.parametrize("name", FILES)
def test_a_spell_is_found_or_the_file_is_asked_about(name: str, site: Settings, tmp_path: Path) -> None:
    """Catches a spell lost on the way in without a word, and a file that cannot be read though it tells all."""
    given = FILES[name]
    data = given.text if isinstance(given.text, bytes) else given.text.encode()
    (tmp_path / "log.csv").write_bytes(data)
    try:
        text = draft_profile(tmp_path / "log.csv")
    except Refusal as error:
        text = str(error)
    assert re.search(given.asks, text), text
    if given.asks and not given.refused:
        return
    (tmp_path / "p.toml").write_text(answered(text, given.answers), encoding="utf-8")
    paths = ([tmp_path / "log.csv"], tmp_path / "lib", tmp_path / "p.toml")
    found = import_logs(*paths, repair=bool(given.refused))
    if given.refused:
        assert found.refused
        assert re.search(given.refused, found.refused[0]), found.refused[0]
        return
    assert not found.refused
    (seen,) = triage_logs([tmp_path / "lib"], site).machines

    assert ADVICE[rank(seen)] in ("open first", "open next"), reasons(seen)
    assert seen.starved_ms / 1000 == pytest.approx(SPELL[1] - SPELL[0], abs=40)
    assert seen.run_ms / 1000 == pytest.approx(6000, abs=30)


@pytest.fixture(scope="module")
def day() -> list[Row]:
    """Return a day of a machine with one spell in its first run, a fiftieth of its hours."""
    runs = [machine(20, number, SPELL if number == 0 else (0, 0)) for number in range(12)]
    return [replace(row, s=row.s + 7200 * number) for number, run in enumerate(runs) for row in run]


LOST: dict[str, Callable[[Row], list[str]]] = {
    "rows that are not there": lambda r: [],
    "rows marked bad": lambda r: [iso(r), f2(r.suction + 2.3), f2(r.suction), "1", "Bad"],
    "torn rows": lambda r: [iso(r), "tr"],
    "no status": lambda r: [iso(r), f2(r.oil), f2(r.suction), "", "Good"],
    "no oil pressure": lambda r: [iso(r), "", f2(r.suction), "1", "Good"],
    "a word for oil pressure": lambda r: [iso(r), "Bad", f2(r.suction), "1", "Good"],
    "frozen readings": lambda r: [iso(r), "4.30", "2.00", "1", "Good"],
}


@pytest.mark.parametrize("name", LOST)
def test_a_small_part_that_is_lost_is_never_called_healthy(
    name: str, day: list[Row], site: Settings, tmp_path: Path
) -> None:
    """Catches a machine called not starved since the one spell of its day was not logged, or marked, torn or frozen."""

    def cells(row: Row) -> list[str]:
        return LOST[name](row) if starved(row) else [iso(row), f2(row.oil), f2(row.suction), str(int(row.run)), "Good"]

    lines = [[*HEAD, "Quality"], *map(cells, day)]
    (tmp_path / "log.csv").write_text("".join(",".join(line) + "\n" for line in lines if line))
    (tmp_path / "p.toml").write_text(answered(draft_profile(tmp_path / "log.csv"), {}))
    found = import_logs([tmp_path / "log.csv"], tmp_path / "lib", tmp_path / "p.toml", repair=name == "torn rows")
    assert not found.refused
    (seen,) = triage_logs([tmp_path / "lib"], with_values(site, MAX_GAP=60_000)).machines

    assert ADVICE[rank(seen)] != "not starved"
    assert any("lost in 1 gap" in why or "sensors in doubt" in why for why in reasons(seen))
