"""The bench page without a browser: what it embeds, how it reads settings, and how it judges, against the Python side."""

import base64
import itertools
import json
import random
import subprocess
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from protect import ranges
from replay.engine.portable import Machine
from replay.ground import wording
from replay.ground.refusal import Refusal
from replay.ground.statistics import exposure_needed, proportion_upper
from replay.ground.units import atmosphere_pa
from replay.library import Library, read_library
from replay.page import bench
from replay.score import Score, score, score_library
from replay.settings import read_settings
from replay.trace import Trace, read_trace
from tests.conftest import SETTINGS, entry, trace_csv
from tests.support.bench_page import FIXTURES, embedded, page_text, parts, some
from tests.support.command import lubetrip
from tests.support.fooling import FAULT, RIDE, broken_wire, faulty, healthy, made, noisy
from tests.support.toolchain import need

pytestmark = pytest.mark.slow("runs a compiler, an emulator, another Python or a browser for each case")

PAGE = Path(bench.__file__).parent
NAMES = [row[0] for row in ranges.SETTINGS]
TYPED = {
    "cut_out": [
        "8",
        "48 kPa",
        "0.5 bar",
        "9.25 psi",
        "480 mbar",
        "nothing",
        "7 psig",
        "7 inHg vac",
        "1e3 Pa",
        "7 furlongs",
        "7 PSI",
        "480 hPa",
        "7 psid",
    ],
    "vacuum": [
        "5 inHg vac",
        "-17 kPa gauge",
        "84 kPa",
        "84 kPa abs",
        "5 inHg",
        "20 psi",
        "0.8 bar abs",
        "12 psia",
        "31 inHg vac",
        "-1 inHg vac",
        "-2.5 psig",
    ],
    "reload": [
        "-1 inHg vac",
        "3 psig",
        "1.2 bar a",
        "0 kPa gauge",
        "1.2 bar(a)",
        "0.2 bar(g)",
        "0.2 barg",
        "120 kPaa",
        "12 psi d",
    ],
    "trip_delay": ["2 min", "90", "0.0015 s", "1500 ms", "0.02 h", "3 weeks", "1e2 s"],
    "floor_weight": ["3.05", "2.000244140625", "9", "x", "3 s"],
    "trips_to_lockout": ["4", "4.5", "0", "1e2"],
}


def a_try(draw: random.Random) -> list[list[Any]]:
    """Return some moves of a user: sliders, typed texts, the switch of units, the altitude of the site."""
    moves: list[list[Any]] = [["system", draw.choice(["kPa", "bar", "psi"])]] if draw.random() < 0.7 else []
    if draw.random() < 0.3:
        moves.append(["site", draw.choice([-500, 0, 40, 1609, 2333.25, 5000, 9999])])
    for _ in range(draw.randint(1, 5)):
        if draw.random() < 0.7:
            moves.append(["slide", draw.randrange(len(NAMES)), round(draw.random(), 4)])
        else:
            name = draw.choice(list(TYPED))
            moves.append(["type", NAMES.index(name), draw.choice(TYPED[name])])
    return moves


def test_copied_settings_are_the_ones_that_ran(tmp_path: Path) -> None:
    """Catches a rounding, a unit or an atmosphere other than the settings file's: hundreds of moves, every value compared."""
    draw = random.Random(7)  # noqa: S311 - draws a test, no secret
    tries = [a_try(draw) for _ in range(300)]
    answers = parts(embedded(page_text(some(50), FIXTURES / "settings.toml")), tmp_path, tries=tries)["answers"]

    seen = {"taken": 0, "refused": 0, "unreadable": 0}
    copied = tmp_path / "copied.toml"
    for moves, answer in zip(tries, answers, strict=True):
        copied.write_text(answer["toml"], encoding="utf-8")
        if answer["unreadable"] is not None:
            seen["unreadable"] += 1
        elif answer["fault"] == -1:
            read = read_settings(copied)
            assert list(read.values[: ranges.SETTING_COUNT]) == answer["values"], moves
            assert read.digest == answer["digest"]
            seen["taken"] += 1
        else:
            with pytest.raises(Refusal):
                read_settings(copied)
            assert "must be" in answer["words"] or "admitted range" in answer["words"]
            seen["refused"] += 1
    assert min(seen.values()) > 20


def test_typed_texts_mean_what_they_mean_in_a_settings_file(tmp_path: Path) -> None:
    """Catches half a pascal rounded up where Python rounds to even, a negative vacuum, and a unit by another factor."""
    tries = [(name, text) for name, texts in TYPED.items() for text in texts if not text.isdigit()]
    moves = [[["type", NAMES.index(name), text]] for name, text in tries]
    answers = parts(embedded(page_text(some(50), FIXTURES / "settings.toml")), tmp_path, tries=moves)["answers"]

    lines = (FIXTURES / "settings.toml").read_text(encoding="utf-8").splitlines()
    understood = 0
    for (name, text), answer in zip(tries, answers, strict=True):
        plain = name in ("floor_weight", "trips_to_lockout")
        typed = f"{name} = {text}" if plain else f'{name} = "{text}"'
        raw = tmp_path / "raw.toml"
        raw.write_text("\n".join(typed if line.startswith(f"{name} =") else line for line in lines), encoding="utf-8")
        if answer["fault"] == -1:
            assert list(read_settings(raw).values[: ranges.SETTING_COUNT]) == answer["values"], text
            understood += 1
        elif "week" not in text:
            with pytest.raises(Refusal):
                read_settings(raw)
    assert understood > 15


def test_untouched_settings_are_those_of_the_file_whatever_units_it_uses(tmp_path: Path) -> None:
    """Catches a page that only understands the units it writes, and one that drops an acceptance key."""
    text = SETTINGS.replace('"60 kPa"', '"0.6 kgf/cm2"').replace('"1 h"', '"0.05 day"').replace('"0 m"', '"100 ft"')
    text = text.replace('vacuum = "80 kPa abs"', 'vacuum = "150 torr vac"') + "confidence = 0.9\n"
    given = tmp_path / "given.toml"
    given.write_text(text, encoding="utf-8")
    answer = parts(embedded(page_text(some(99), given)), tmp_path, tries=[[]])["answers"][0]
    (tmp_path / "copied.toml").write_text(answer["toml"], encoding="utf-8")
    before, after = read_settings(given), read_settings(tmp_path / "copied.toml")

    assert (after.values, after.acceptance) == (before.values, before.acceptance)
    assert after.altitude_m == pytest.approx(before.altitude_m, abs=1e-9)


@pytest.mark.outside(
    computation="units on the bench page",
    source="none: `replay/ground/units.py`, which has its outside checks here",
    status="none",
    agreement="the same Pa (asserted)",
)
def test_changing_units_moves_nothing(tmp_path: Path) -> None:
    """Catches 7 psi that becomes 48.3 kPa, and an altitude that moves absolute settings or leaves gauge ones behind."""
    data = embedded(page_text(some(99), FIXTURES / "settings.toml"))
    there_and_back = [["system", unit] for unit in ("kPa", "bar", "psi", "bar", "psi")]
    answers = parts(data, tmp_path, tries=[[], there_and_back, [["site", 1609]]])["answers"]
    untouched, changed, moved = (answer["values"] for answer in answers)
    vacuum, reload = NAMES.index("vacuum"), NAMES.index("reload")

    assert changed == untouched
    # 5 inHg vac and 0 psig of the file hang on the atmosphere; 3386.39 Pa an inch as in NIST SP 811.
    assert moved[reload] == round(atmosphere_pa(1609))
    assert moved[vacuum] == pytest.approx(atmosphere_pa(1609) - 5 * 3386.389, abs=1)
    assert [v for place, v in enumerate(moved) if place not in (vacuum, reload)] == [
        v for place, v in enumerate(untouched) if place not in (vacuum, reload)
    ]


def told_by_the_page(answer: dict[str, Any]) -> dict[str, Any]:
    """Return the score of the page in the terms of `as_python`."""
    found = answer["score"]
    total = found["total"]
    return {
        "verdict": found["verdict"],
        "broken": set(found["broken"]),
        "lacking": found["lacking"],
        "traces": [
            (v["id"], v["outcome"], v["firstS"], v["marginS"], v["runHours"], v["trips"]) for v in found["verdicts"]
        ],
        "counts": [total[key] for key in ("mustTrip", "hit", "missed", "early", "rides", "hours", "nuisance")],
        "worst": total["worstMarginS"],
        "families": [(name, part["hit"], part["nuisance"]) for name, part in found["families"]],
        "claims": [(c["rule"], c["events"], pytest.approx(c["of"]), c["wanted"]) for c in found["claims"]],
        "limits": pytest.approx([c["upper"] for c in found["claims"]], rel=1e-9),
    }


def as_python(found: Score, order: list[str]) -> dict[str, Any]:
    """Return a score in comparable terms."""
    total = found.totals
    verdicts = {v.id: v for v in (*found.verdicts, *found.undecided)}
    rows = [verdicts[identity] for identity in order]
    return {
        "verdict": found.verdict,
        "broken": {failure.rule for failure in found.failures},
        "lacking": [claim.rule for claim in found.lacking],
        "traces": [(v.id, v.outcome, v.first_trip_s, v.margin_s, v.run_hours, v.trips) for v in rows],
        "counts": [
            *(total.must_trip, total.hit, total.missed, total.early, total.ride_through),
            *(total.ride_through_run_hours, total.nuisance_trips),
        ],
        "worst": total.worst_margin_s,
        "families": [(name, part.hit, part.nuisance_trips) for name, part in found.families.items()],
        "claims": [(c.rule, c.events, c.of, c.wanted) for c in found.claims],
        "limits": [c.upper for c in found.claims],
    }


@pytest.mark.parametrize("confidence", ["confidence = 0.95", "confidence = 0.6", ""])
def test_judges_as_lubetrip_score(confidence: str, tmp_path: Path) -> None:
    """Catches a verdict, a count, a margin or a limit of the page that `lubetrip score` would not give."""
    text = (FIXTURES / "settings.toml").read_text(encoding="utf-8").split("confidence =")[0] + confidence + "\n"
    given = tmp_path / "given.toml"
    given.write_text(text.replace('min_margin = "8 s"', 'min_margin = "95 s"'), encoding="utf-8")
    library = some(8)
    delay, cut_out, cut_in, weight = map(NAMES.index, ("trip_delay", "cut_out", "cut_in", "floor_weight"))
    tries = [
        [],
        [["type", delay, "20 s"]],
        [["type", delay, "20 min"]],
        [["type", weight, "8"], ["type", cut_in, "11 psi"], ["type", cut_out, "10 psi"]],
        [["type", cut_in, "60 psi"], ["type", cut_out, "50 psi"], ["type", delay, "1 s"]],
    ]
    answers = parts(embedded(page_text(library, given)), tmp_path, tries=tries, run=True)["answers"]

    seen = set()
    for answer in answers:
        (tmp_path / "copied.toml").write_text(answer["toml"], encoding="utf-8")
        wanted = score(library, read_settings(tmp_path / "copied.toml"))
        assert as_python(wanted, [e.id for e in library.entries]) == told_by_the_page(answer)
        seen |= {wanted.verdict, *(verdict.outcome for verdict in wanted.verdicts)}
    assert {"hit", "missed", "early", "nuisance", "rode_through"} < seen


def test_shows_state_integral_and_readings_of_every_tick_as_the_reference_has_them(tmp_path: Path) -> None:
    """Catches packing that loses a reading or a long gap, a window that forgets the state, and memory that grows with each run."""
    library, data = awkward(tmp_path)
    settings = read_settings(tmp_path / "settings.toml")
    answers = parts(data, tmp_path, tries=[[], []], run=True, trails=True)["answers"]
    answer = answers[0]
    assert answers[1] == answer
    for place, shown in zip(library.entries, answer["trails"], strict=True):
        trace = read_trace(place.path)
        trail = Machine(settings).follow(trace)
        assert shown["states"] == trail.states.tolist()
        percent = np.array(shown["integral"]) * 100.0 / settings.values[ranges.TRIP_DELAY]
        assert np.allclose(percent, trail.integral_percent, rtol=1e-12)
        assert shown["stopTimes"] == [stop.time_ms for stop in trail.stops]
        assert shown["time"] == trace.time_ms.tolist()
        assert [ranges.NO_READING if v is None else v for v in shown["suction"]] == trace.suction_pa.tolist()
        dead = (trace.oil_pa == ranges.NO_READING).tolist()
        assert all(net == ranges.NO_READING for net, none in zip(shown["net"], dead, strict=True) if none)


def awkward(folder: Path) -> tuple[Library, dict[str, Any]]:
    """Return a library of long, broken and far-apart traces, and the data of its page."""
    (folder / "settings.toml").write_text(SETTINGS, encoding="utf-8")
    pulses = trace_csv(9000, lambda s: 120.0 if s % 700 < 500 else 5.0, lambda s: 300.0 - s % 700 / 3)
    (folder / "pulses.csv").write_text(pulses, encoding="utf-8")
    rows = pulses.splitlines()[:2000]
    holes = [
        row if number % 400 < 300 else f"{row.split(',')[0]},,{row.split(',')[2]},1" for number, row in enumerate(rows)
    ]
    (folder / "holes.csv").write_text("\n".join(holes) + "\n", encoding="utf-8")
    gap = trace_csv(100, lambda s: 120.0) + "90000000,400,300,1\n90000001,310,300,0\n"  # more than 2**32 ms later
    (folder / "gap.csv").write_text(gap, encoding="utf-8")
    own = ["time_s,oil_pressure_kpa,suction_pressure_kpa,crankcase_pressure_kpa,running,reset"]
    own += [f"{s / 2},{330 + s % 2},{200 + s % 2},{320 - s % 300 + s % 2},1,{s % 500 // 499}" for s in range(1500)]
    (folder / "own.csv").write_text("\n".join(own) + "\n", encoding="utf-8")
    text = 'settings = "settings.toml"\n'
    for name in ("pulses", "holes", "gap", "own"):
        text += entry(name, "ride_through = true")
    (folder / "library.toml").write_text(text, encoding="utf-8")
    library = read_library(folder)
    return library, embedded(page_text(library, folder / "settings.toml"))


@pytest.mark.outside(
    computation="limits and atmosphere on the bench page",
    source="none: `replay/ground/statistics.py` and `replay/ground/units.py`, which have their outside checks here",
    status="none",
    agreement="1e-9, 1e-14 (asserted)",
)
def test_limits_are_those_of_the_report(tmp_path: Path) -> None:
    """Catches an approximate limit, one at the wrong tail, and an atmosphere of another formula."""
    cases = [
        (k, n, c) for n in (1, 5, 49, 1000) for k in {0, 1, n // 2, n - 1, n} for c in (0.5, 0.95, 0.9999) if k <= n
    ]
    counts = [(k, c) for k in (0, 1, 2, 10, 300) for c in (0.5, 0.95, 0.9999)]
    altitudes = [-500, 0, 40, 1609.344, 5000]
    data = embedded(page_text(some(99), FIXTURES / "settings.toml"))
    limits = parts(data, tmp_path, probability=cases, count=counts, altitudes=altitudes)["limits"]

    assert limits["probability"] == pytest.approx([proportion_upper(*case) for case in cases], rel=1e-9)
    assert limits["count"] == pytest.approx([exposure_needed(k, 1.0, c) for k, c in counts], rel=1e-9)
    assert limits["atmosphere"] == pytest.approx([atmosphere_pa(metres) for metres in altitudes], rel=1e-14)


def test_numbers_are_worded_as_in_the_report(tmp_path: Path) -> None:
    """Catches a rate, a share or a margin that reads otherwise than `lubetrip score` has it, ties and none among them."""
    draw = random.Random(5)  # noqa: S311 - draws a test, no secret
    ties = [number / 64 for number in range(-640, 640)]
    numbers = [None, *ties, *(10.0 ** draw.uniform(-3, 5) for _ in range(2000))]
    shares = [None, *(number / 640 for number in range(641)), *(draw.uniform(1e-4, 1) for _ in range(2000))]
    worded = [(name, number) for name in ("tenths", "seconds") for number in numbers]
    worded += [("rate", number) for number in numbers if number is None or number >= 0]
    worded += [("percent", share) for share in shares] + [("sure", share) for share in (0.5, 0.95, 0.975, 0.9995)]
    answers = parts(embedded(page_text(some(99), FIXTURES / "settings.toml")), tmp_path, worded=worded)["worded"]

    assert answers == [getattr(wording, name)(number) for name, number in worded]


def test_a_hundred_traces_make_a_page_of_a_few_megabytes() -> None:
    """Catches traces embedded as text or without packing: 175,000 readings were 5 MB of CSV."""
    text = page_text(read_library(FIXTURES), FIXTURES / "settings.toml")

    assert len(text.encode()) < 2_000_000
    assert "http:" not in text
    assert "https:" not in text


def test_packing_keeps_what_no_usual_trace_has() -> None:
    """Catches a packing into 32 bits, or into a coarser unit than a pascal: undone here by hand."""
    time = np.array([0, 1, 2**40, 2**40 + 1], np.int64)
    oil = np.array([ranges.NO_READING, 20_000_000, -100_000, 1], np.int64)
    flags = np.array([0, 1, 1, 0], np.uint8)
    trace = Trace("t", 0.0, time, oil, oil[::-1].copy(), oil.copy(), flags, flags)
    planes = np.frombuffer(zlib.decompress(base64.b64decode(bench.packed(trace))), np.uint8).reshape(7, 8, 4)
    columns = np.cumsum(np.ascontiguousarray(planes.transpose(0, 2, 1)).view("<i8")[..., 0], axis=1)
    columns[6] += columns[5]

    assert columns[0].tolist() == time.tolist()
    assert [columns[place].tolist() for place in (4, 5, 6)] == [oil.tolist(), oil[::-1].tolist(), oil.tolist()]
    assert columns[2].tolist() == flags.tolist()


HOSTILE = '</script><script>alert(1)</script><img src=x onerror=alert(2)><!-- & \u2028 "'


def hostile_library(folder: Path) -> Path:
    """Write a library whose texts try to become markup."""
    text = 'settings = "settings.toml"\n'
    item = entry("bad", "ride_through = true", HOSTILE.replace('"', '\\"')).replace(
        'id = "bad"', f"id = {json.dumps(HOSTILE)}"
    )
    text += item.replace('oil = "o"', f"oil = {json.dumps(HOSTILE)}") + f"note = {json.dumps(HOSTILE)}\n"
    (folder / "settings.toml").write_text(SETTINGS, encoding="utf-8")
    (folder / "bad.csv").write_text(trace_csv(60, lambda s: 120.0), encoding="utf-8")
    (folder / "library.toml").write_text(text, encoding="utf-8")
    return folder


def test_texts_of_a_library_cannot_become_markup(tmp_path: Path) -> None:
    """Catches an id, a family or a note that ends the script it stands in."""
    text = page_text(read_library(hostile_library(tmp_path)), tmp_path / "settings.toml")

    assert embedded(text)["traces"][0]["id"] == HOSTILE
    assert text.count("<script") == 3
    assert "<img" not in text


def test_a_library_too_large_for_a_page_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a page that no browser opens, made without a word, and a refusal that waits for all to be read and packed."""
    monkeypatch.setattr(bench, "MOST_READINGS", 1000)
    monkeypatch.setattr(bench, "read_trace", lambda path: pytest.fail(f"reads {path}"))

    with pytest.raises(Refusal, match="at most 1000 readings in all"):
        page_text(some(50), FIXTURES / "settings.toml")


def test_a_library_that_just_fits_is_taken(library: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a limit on an estimate: bytes are no rows."""
    monkeypatch.setattr(bench, "MOST_READINGS", 1602)
    assert bench.page(read_library(library), read_settings(library / "settings.toml")).readings == 1602

    monkeypatch.setattr(bench, "MOST_READINGS", 1601)
    with pytest.raises(Refusal, match="at most 1601 readings in all"):
        bench.page(read_library(library), read_settings(library / "settings.toml"))


def test_the_command_writes_the_page_and_says_what_is_in_it(library: Path) -> None:
    """Catches a command that writes half a page, or writes one for a settings file that is no good."""
    out = library / "bench.html"
    said = lubetrip("bench", library, "-o", out)
    assert (said.returncode, said.stderr) == (0, "")
    assert "2 traces, 1602 readings" in said.stdout
    assert [trace["id"] for trace in embedded(out.read_text(encoding="utf-8"))["traces"]] == ["fault", "quiet"]

    before = out.read_bytes()
    (library / "bad.toml").write_text(SETTINGS.replace("60 kPa", "90 kPa"), encoding="utf-8")
    refused = lubetrip("bench", library, "-o", out, "--settings", library / "bad.toml")
    assert (refused.returncode, refused.stdout) == (2, "")
    assert "cut out must be less than cut in" in refused.stderr
    assert out.read_bytes() == before


def test_the_page_counts_once_and_judges_nothing_as_the_score_does(tmp_path: Path) -> None:
    """Catches a page on which twins, overlaps, traces in doubt or an empty library are met, and the terminal's are not."""
    dips = lambda s: 5.0 if 800 <= s < 870 or 1900 <= s < 1970 else 120.0  # noqa: E731
    fault, quiet, wire = noisy(1, 400, faulty), noisy(2, 400, healthy), noisy(3, 400, broken_wire)
    lenient = SETTINGS.replace("max_nuisance_per_1000h = 0.0", "max_nuisance_per_1000h = 1e6")
    upsets = RIDE + "\nupsets = [[700.0, 900.0], [1800.0, 2000.0]]"
    overlap = {"a": (noisy(7, 1500, dips), RIDE + "\nupsets = [[700.0, 900.0]]"), "fault": (fault, FAULT)}
    libraries = {
        "empty": {"quiet": (quiet, RIDE)},
        "undecided": {"u": (fault, "undecided = true")},
        "twins": {"f": (fault, FAULT), "f2": (fault, FAULT), "q": (quiet, RIDE), "q2": (quiet, RIDE)},
        "overlap": overlap | {"b": (noisy(7, 2400, dips, from_s=600), upsets.replace("1800.0, 2000", "1200.0, 1400"))},
        "contradiction": {
            "x": (fault, FAULT),
            "y": (fault, RIDE),
            "q": (quiet, RIDE),
            "f": (noisy(4, 400, faulty), FAULT),
        },
        "by a sensor alone": {"w": (wire, FAULT), "q": (quiet, RIDE)},
        "by a sensor too": {"w": (wire, FAULT), "q": (quiet, RIDE), "f": (fault, FAULT)},
    }
    for name, traces in libraries.items():
        (tmp_path / name).mkdir()
        folder = made(tmp_path / name, traces, lenient)
        result = score_library(folder)
        (answer,) = parts(
            embedded(page_text(read_library(folder), folder / "settings.toml")), folder, tries=[[]], run=True
        )["answers"]
        found = answer["score"]

        assert (found["verdict"], tuple(found["unjudged"])) == (result.verdict, result.unjudged), name
        assert [v["outcome"] for v in found["verdicts"]] == [
            v.outcome for v in sorted((*result.verdicts, *result.undecided), key=lambda v: list(traces).index(v.id))
        ]
        total, whole = found["total"], result.totals
        assert (total["mustTrip"], total["hit"], total["nuisance"]) == (
            whole.must_trip,
            whole.hit,
            whole.nuisance_trips,
        ), name
        assert total["hours"] == pytest.approx(whole.ride_through_run_hours, abs=2e-6), name
        assert (total["upsets"], total["upsetsStopped"]) == (whole.upsets, whole.upsets_stopped or 0), name
        assert (total["sensorHits"], total["doubted"]) == (whole.sensor_hits, whole.doubted), name


def test_a_page_refuses_a_deadline_beyond_its_trace_as_the_score_does(tmp_path: Path) -> None:
    """Catches a fault that is missed on the page by a deadline that the trace never reaches."""
    folder = made(tmp_path, {"f": (noisy(1, 200, faulty), FAULT)})
    with pytest.raises(Refusal, match="deadline_s in the library = 250: after the trace has ended"):
        page_text(read_library(folder), folder / "settings.toml")


NARROW_PANEL = """
const NO_READING = -1, PRESSURES = { kPa: 1000 }, texts = [];
const looks = { lines: new Proxy({}, { get: () => ({ colour: "", width: 1, dash: [] }) }) };
const pen = new Proxy({}, { get: () => () => {}, set: () => true });
const given = { cut_in: 80000, cut_out: 60000, floor: 1000, max_gap: 3000 };
const plot = Object.assign(Object.create(Plot.prototype), {
    left: 62, right: 300, size: 11, narrow: true, panels: { net: { top: 0, bottom: 120 } }, xs: [62, 180, 300], looks, pen,
    readings: { net: [0, 500, 70000], time: [0, 1000, 2000] }, followed: { net: [0, FOLLOWED, 0] },
    settings: { system: "kPa", value: (name) => given[name] },
    line: () => {}, text: (words, x, y) => texts.push([words, x, y]),
});
plot.net();
console.log(JSON.stringify(texts.filter(([, x]) => x > plot.right)));
"""


@pytest.mark.parametrize(("followed", "names"), [("NO_READING", 4), ("500", 3)])
def test_a_low_floor_and_not_credible_stand_apart(followed: str, names: int) -> None:
    """Catches the name of a level at the foot of the panel written over that of the readings not credible."""
    scripts = [(PAGE / name).read_text(encoding="utf-8") for name in ("curves.js", "plot.js")]
    code = "\n".join([*scripts, NARROW_PANEL.replace("FOLLOWED", followed)])
    done = subprocess.run([need("node"), "-e", code], capture_output=True, text=True, check=True, timeout=60)
    heights = sorted(y for _, _, y in json.loads(done.stdout))

    assert len(heights) == names
    assert all(two - one >= 11 for one, two in itertools.pairwise(heights))
