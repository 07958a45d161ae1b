"""Numbers and quantities on the page: worded and read as the host side words and reads them, and each move by hand."""

import itertools
import json
import math
import subprocess
from pathlib import Path
from typing import Any

import pytest

from protect.ranges import ONE
from replay.ground import wording
from replay.ground.units import (
    UnitError,
    absolute_pressure_pa,
    atmosphere_pa,
    duration_ms,
    marked_pressure_pa,
    pressure_difference_pa,
)
from replay.page.bench import unit_factors
from tests.support.toolchain import ROOT, need

ALTITUDE_M = 300.0

pytestmark = pytest.mark.slow("runs a script engine")


def run(folder: Path, work: str) -> Any:
    """Return what an expression comes to in the scripts of the page."""
    scripts = "".join((ROOT / "replay" / "page" / name).read_text() for name in ("units.js", "wording.js"))
    (folder / "words.js").write_text(
        f"{scripts}\ntakeUnits({json.dumps(unit_factors())});\nconsole.log(JSON.stringify({work}));\n", encoding="utf-8"
    )
    done = subprocess.run([need("node"), folder / "words.js"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


NUMBERS = [
    *(0.0, 0.25, 0.35, 0.05, 0.15, 1.0, 2.5, 0.045, 0.123456, 12.345, 99.95, 999.9, 999.95, 1000.0, 1000.5, 1001.5),
    *(17974.4, 1e6, 1e-4, 123.456, 0.5, 1.05, 119.95, 3.14159, 65.25, 65.35, 0.9995, 0.95, 0.9, 0.0005, 8.325),
]


def test_numbers_read_on_the_page_as_in_the_report(tmp_path: Path) -> None:
    """Catches a tie rounded the other way, a digit more or less, and no value told as 0."""
    names = ("percent", "sure", "rate", "tenths", "seconds")
    shares, signed = [number for number in NUMBERS if number <= 1.0], [-number for number in NUMBERS[4:12]] + NUMBERS
    given = dict(zip(names, (shares, shares, NUMBERS, signed, signed), strict=True))
    work = f"[{', '.join(f'{json.dumps(numbers)}.map({name})' for name, numbers in given.items())},"
    work += "[percent(null), rate(null), tenths(null), seconds(null), rate(Infinity)]]"
    *found, none = run(tmp_path, work)

    for name, told in zip(names, found, strict=True):
        assert told == [getattr(wording, name)(number) for number in given[name]], name
    assert none == ["-", "-", "-", "-", wording.rate(math.inf)]


QUANTITIES = {
    "difference": [
        "9 psi",
        "62 kPa",
        "0.62 bar",
        "620 mbar",
        "7 psid",
        "-1 kPa",
        "9 psig",
        "9 inHg vac",
        "9",
        "9 s",
        "nine",
    ],
    "absolute": [
        *("0 psig", "5 inHg vac", "84 kPa abs", "1.2 bar(g)", "1.2 bar(a)", "-3 psig", "20 psi", "40 inHg vac"),
        *("-1 inHg vac", "29 inHg vac", "14.5 psia", "100 kPa g", "1013.25 mbar abs", "3 Pa abs", "1e2 kPa abs"),
    ],
    "time": [
        "90 s",
        "1.5 min",
        "2 h",
        "7 d",
        "500 ms",
        "0.0005 s",
        "0.0015 s",
        "2.5 ms",
        "3.5 ms",
        "90",
        "90 psi",
        "-5 s",
    ],
}
READ = {
    "difference": pressure_difference_pa,
    "absolute": lambda text: marked_pressure_pa(text, atmosphere_pa(ALTITUDE_M)),
    "time": duration_ms,
}


@pytest.mark.parametrize("kind", QUANTITIES)
def test_a_quantity_is_read_on_the_page_as_in_the_settings_file(kind: str, tmp_path: Path) -> None:
    """Catches a unit or a mark that the page takes otherwise, and a tie of half a Pa or ms rounded the other way."""
    wanted: list[int | None] = []
    for text in QUANTITIES[kind]:
        try:
            wanted.append(READ[kind](text))
        except UnitError:
            wanted.append(None)
    work = f"{json.dumps(QUANTITIES[kind])}.map((text) => {{ const read = parse(text, null);"
    work += f" return read === null ? null : integerOf('{kind}', read, atmosphereAt({ALTITUDE_M})); }})"
    found = run(tmp_path, work)

    assert dict(zip(QUANTITIES[kind], found, strict=True)) == dict(zip(QUANTITIES[kind], wanted, strict=True))


def test_the_atmosphere_of_the_page_is_that_of_the_host(tmp_path: Path) -> None:
    """Catches a constant of the standard atmosphere that was moved."""
    metres = [-500, 0, 300, 1234, 5000]

    assert run(tmp_path, f"{metres}.map(atmosphereAt)") == pytest.approx([atmosphere_pa(m) for m in metres], rel=1e-12)


def test_weights_and_counts_are_bare_numbers(tmp_path: Path) -> None:
    """Catches a weight in other parts than 1/2048, a count of a half, and one with a unit."""
    texts = ["1", "1.5", "0.25", "2.5", "3", "1 s", "1.000244140625"]
    work = f"['weight', 'count'].map((kind) => {texts}.map((text) => integerOf(kind, parse(text, null), 0)))"
    weights, counts = run(tmp_path, work)

    assert weights == [ONE, 3072, 512, 5120, 6144, None, 2048]  # half a part goes to the even one
    assert counts == [1, None, None, None, 3, None, None]


def test_a_value_is_written_in_the_shortest_text_that_reads_back(tmp_path: Path) -> None:
    """Catches a text that stands for another integer, a sign before nothing, and a vacuum counted upwards."""
    rows = [
        ("difference", 62053, {"unit": "psi", "mark": ""}),
        ("difference", 62000, {"unit": "kPa", "mark": ""}),
        ("absolute", round(atmosphere_pa(ALTITUDE_M)), {"unit": "psi", "mark": "gauge"}),
        ("absolute", 84000, {"unit": "inHg", "mark": "vac"}),
        ("absolute", 84000, {"unit": "kPa", "mark": "abs"}),
        ("absolute", 84000, {"unit": "psi", "mark": "abs"}),
        ("time", 90_000, {"unit": "s", "mark": ""}),
        ("time", 90_000, {"unit": "min", "mark": ""}),
        ("weight", 3072, {"unit": "", "mark": ""}),
        ("weight", 683, {"unit": "", "mark": ""}),
        ("count", 3, {"unit": "", "mark": ""}),
    ]
    work = f"{json.dumps(rows)}.map(([kind, value, unit]) => textOf(kind, value, unit, atmosphereAt({ALTITUDE_M})))"
    told = run(tmp_path, work)

    read = [READ[kind](text) for (kind, *_), text in zip(rows, told, strict=True) if kind in READ]
    assert read == [value for kind, value, _ in rows if kind in READ]
    assert told[0] == "9 psi" and told[1] == "62 kPa" and told[2] == "0 psig"
    assert told[4] == "84 kPa abs" and told[5].endswith(" psia") and told[3].endswith(" inHg vac")
    assert told[6:] == ["90 s", "1.5 min", "1.5", "0.3335", "3"]
    assert absolute_pressure_pa(told[3], atmosphere_pa(ALTITUDE_M)) == 84000
    nothing = "textOf('absolute', 101325, { unit: 'psi', mark: 'gauge' }, 101325.4)"
    assert run(tmp_path, nothing) == "0 psig"  # and no "-0"


def test_the_unit_of_a_value_follows_its_size_and_the_trade(tmp_path: Path) -> None:
    """Catches a duration told in ms from a second on, an hour told in min, and a vacuum told in psig."""
    times = [0, 999, 1000, 599_999, 600_000, 7_199_999, 7_200_000, 259_199_999, 259_200_000]
    air = round(atmosphere_pa(0.0))
    work = f"[{times}.map((value) => unitFor('time', value, {{}}, 'psi', {air}).unit),"
    work += f"[[{air} - 1, 'psi', 'gauge'], [0, 'psi', 'gauge'], [{air}, 'psi', 'gauge'], [-1, 'psi', 'gauge'], [{air} - 1, 'kPa', 'gauge'],"
    work += f" [{air} - 1, 'psi', 'abs']].map(([value, system, mark]) => {{"
    work += (
        f" const to = unitFor('absolute', value, {{ mark }}, system, {air}); return `${{to.unit}} ${{to.mark}}`; }}),"
    )
    work += "['weight', 'count', 'difference'].map((kind) => unitFor(kind, 5, {}, 'bar', 0).unit)]"
    units, pressures, rest = run(tmp_path, work)

    assert units == ["ms", "ms", "s", "s", "min", "min", "h", "h", "d"]
    assert pressures == ["inHg vac", "inHg vac", "psi gauge", "psi gauge", "kPa gauge", "psi abs"]
    assert rest == ["", "", "bar"]


def test_what_a_text_may_have_meant_is_told(tmp_path: Path) -> None:
    """Catches advice to write what was written."""
    assert run(tmp_path, '["7 PSI", "7 psi", "7 apples", "7 PSIG"].map((text) => meant(text, PRESSURES))') == [
        ' Did you mean "7 psi"?', "", "", ' Did you mean "7 psig"?',
    ]  # fmt: skip


def test_a_slider_stops_at_both_ends_and_at_numbers_of_a_hand(tmp_path: Path) -> None:
    """Catches a range whose end cannot be reached, a stop outside of it, and one that comes twice."""
    rows = [
        ("time", 1000, 600_000),
        ("weight", 0, 16384),
        ("count", 1, 5),
        ("difference", 1000, 400_000),
        ("absolute", 0, 400_000),
    ]
    work = f"{json.dumps(rows)}.map(([kind, least, most]) => stopsOf({{ kind, least, most }}, {{ mark: 'gauge' }}, 'psi', 101325))"
    found = run(tmp_path, work)

    for (_, least, most), stops in zip(rows, found, strict=True):
        assert (stops[0], stops[-1]) == (least, most)
        assert stops == sorted(set(stops))
    assert found[2] == [1, 2, 3, 4, 5]
    assert {90_000, 120_000} <= set(found[0])
    assert {pressure_difference_pa(f"{psi} psi") for psi in (1, 9, 9.5, 40)} <= set(found[3])
    assert {absolute_pressure_pa(text, 101_325.0) for text in ("5 inHg vac", "0 psig", "10 psig")} <= set(found[4])


@pytest.mark.parametrize(("system", "step_pa", "some"), [("kPa", 500, "62 kPa"), ("bar", 500, "0.62 bar")])
def test_a_slider_stops_at_numbers_of_its_own_units(system: str, step_pa: int, some: str, tmp_path: Path) -> None:
    """Catches a vacuum that nobody can set in kPa or bar, and steps of another unit."""
    ranges = [("difference", -100_000, 400_000), ("absolute", 0, 400_000), ("time", 1000, 1_800_000)]
    work = f"{json.dumps(ranges)}.map(([kind, least, most]) => stopsOf({{ kind, least, most }},"
    work += f" {{ mark: 'gauge' }}, '{system}', 101325))"
    nets, suctions, times = run(tmp_path, work)

    assert {pressure_difference_pa(some), -pressure_difference_pa(some), 0} <= set(nets)
    assert {101_325 - count * step_pa for count in range(200)} <= set(suctions)
    assert {101_325 + pressure_difference_pa(some), 101_325} <= set(suctions)
    below = [stop for stop in suctions if 0 < stop < 101_325]
    assert all(other - one == step_pa for one, other in itertools.pairwise(below))
    assert {595_000, 600_000, 630_000, 1_800_000} <= set(times) and 601_000 not in times
    weights = run(tmp_path, "stopsOf({ kind: 'weight', least: 0, most: 16384 }, {}, 'psi', 0)")
    assert [stop for stop in weights if stop > 7.9 * ONE] == [round(7.95 * ONE), 8 * ONE]
