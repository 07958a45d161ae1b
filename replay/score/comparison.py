"""Two scores of one library beside each other: what changed, and whether the second is worse.

The second is worse when it misses a fault that the first hits (a lost machine is
not traded for anything), when it has more nuisance trips in all, or when its own
acceptance verdict is worse, or would be under the acceptance of the first where its
own asks less. Margins are shown and not judged: a delay that was raised on purpose
costs margin, and `min_margin` says how much it may cost.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from protect import ranges
from replay.ground.json_files import read_json_report
from replay.ground.places import STANDARD_INPUT, place_of
from replay.ground.refusal import refusal
from replay.ground.shape import Key, Keys, fit, number, one_of, or_none, plain_text, whole
from replay.ground.shown import Units, asked
from replay.ground.statistics import bootstrap_mean, mcnemar
from replay.ground.wording import counted
from replay.score import evidence
from replay.settings.file import SHOWN_CONFIDENCE, Acceptance

if TYPE_CHECKING:  # two reports are compared without what scores
    from replay.engine.workers import Progress
    from replay.library.given import GivenLibrary
    from replay.score.scoring import Score

SCHEMA = "lubetrip-compare/1"
SCORE_SCHEMA = "lubetrip-score/1"
BOOTSTRAP_SEED = 1
RANKS = (evidence.MET, evidence.NOT_ENOUGH, evidence.NOT_MET)
KEYS = {
    **dict.fromkeys(("id", "family", "outcome"), Key(plain_text)),
    **dict.fromkeys(("first_trip_s", "deadline_s", "margin_s"), Key(or_none(number()))),
    "trips": Key(whole()),
}
_WINDOW = Keys({"outcome": Key(plain_text), "margin_s": Key(or_none(number()))}, needed=False, many=True, loose=True)
_ROWS = Keys({**KEYS, "windows": _WINDOW}, many=True, loose=True)
_CONFIDENCE = Key(or_none(number(math.ulp(0.0), math.nextafter(1.0, 0.0), "not between 0 and 1")))
# Rules of [acceptance]: 1 where more of it is looser, -1 where less is. One that is not stated is the loosest.
LOOSER = {
    "max_missed": 1,
    "max_nuisance_per_1000h": 1,
    "min_margin_s": -1,
    "confidence": -1,
    "max_missed_probability": 1,
    "min_margin_coverage": -1,
    "max_nuisance_probability": 1,
}
UNDER_CONFIDENCE = ("max_missed_probability", "min_margin_coverage", "max_nuisance_probability")
_LIMIT = Key(or_none(number()), needed=False)
_LIMITS = Keys({**dict.fromkeys(LOOSER, _LIMIT), "confidence": _CONFIDENCE}, loose=True)
_COUNT, _SOME = Key(whole(0), needed=False), Key(or_none(number()), needed=False)
_TOTALS: dict[str, Key | Keys] = {
    **dict.fromkeys(("hit", "missed", "sensor_hits", "doubted", "upsets"), _COUNT),
    **dict.fromkeys(("ride_through_run_hours", "worst_margin_s", "upsets_stopped"), _SOME),
    "nuisance_trips": Key(whole()),
}
_VALUES = Keys({name: Key(whole(), needed=False) for name, *_ in ranges.SETTINGS}, needed=False, loose=True)
_SETTINGS = Keys({"values": _VALUES, "altitude_m": Key(number(), needed=False)}, needed=False, loose=True)
ALTITUDE = "altitude_m"
SHAPE = Keys(
    {
        "settings": _SETTINGS,
        "traces": _ROWS,
        "undecided": _ROWS,
        "acceptance": Keys({"verdict": Key(one_of(*RANKS)), "limits": _LIMITS}, loose=True),
        "library": Keys({"digest": Key(plain_text)}, loose=True),
        "judge": Keys({"digest": Key(plain_text)}, needed=False, loose=True),
        "totals": Keys(_TOTALS, loose=True),
    },
    loose=True,
)


@dataclass(frozen=True)
class Discordant:
    """Faults or traces on which one of two scores went wrong and the other did not, with the exact McNemar p-value."""

    only_a: int
    only_b: int
    p: float


@dataclass(frozen=True)
class Margins:
    """Change of margin (s, B less A) over the faults that both hit: mean and bootstrap interval."""

    pairs: int
    mean_s: float | None
    interval_s: tuple[float, float] | None
    confidence: float


@dataclass(frozen=True)
class Comparison:
    """What became of the same traces under A and under B.

    settings: of each setting that differs, and of the altitude, its name and both values as the logic has them, None
    where a report does not say; altitudes (m): of both; units: to show pressures in.
    changed and undecided: pairs of rows in the form of the score report, of
    which anything differs; worse: the rules by which B is worse; loosened: rules of
    [acceptance] that ask less of B than of A, as "rule: A's, B's"; judges: digests, None
    of an older report.
    """

    changed: tuple[tuple[dict[str, Any], dict[str, Any]], ...]
    undecided: tuple[tuple[dict[str, Any], dict[str, Any]], ...]
    same: int
    missed: Discordant
    nuisance: Discordant
    nuisance_trips: tuple[int, int]
    margins: Margins
    verdicts: tuple[str, str]
    worse: tuple[str, ...]
    loosened: tuple[str, ...] = ()
    judges: tuple[str | None, str | None] = (None, None)
    settings: tuple[tuple[str, float | None, float | None], ...] = ()
    altitudes: tuple[float, float] = (0.0, 0.0)
    units: Units = field(default_factory=asked)

    def as_json(self) -> dict[str, Any]:
        """Return the comparison in the form of its schema."""
        return {
            "schema": SCHEMA,
            "worse": bool(self.worse),
            "why": list(self.worse),
            "verdicts": list(self.verdicts),
            "settings": {name: [one, two] for name, one, two in self.settings},
            "acceptance_loosened": list(self.loosened),
            "judges": list(self.judges),
            "missed": vars(self.missed),
            "nuisance": vars(self.nuisance),
            "nuisance_trips": list(self.nuisance_trips),
            "margins": vars(self.margins),
            "same": self.same,
            "changed": [{"id": a["id"], "a": _row(a), "b": _row(b)} for a, b in self.changed],
            "undecided": [{"id": a["id"], "a": _row(a), "b": _row(b)} for a, b in self.undecided],
        }


def _row(item: dict[str, Any]) -> dict[str, Any]:
    row = {key: item[key] for key in KEYS if key not in ("id", "family")}
    return row | {"windows": item["windows"]} if len(item.get("windows", ())) > 1 else row


def _windows(item: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the windows of a trace, or the trace where it has none, or is of an older report."""
    return item.get("windows") or [item]


def read_report(path: Path) -> dict[str, Any]:
    """Read a score report in JSON. Raises Refusal for a file that is none."""
    accepted = "a file that `lubetrip score --json` wrote"
    report = read_json_report(path, SCORE_SCHEMA, accepted)
    found = fit(path, report, SHAPE, accepted=accepted)
    for row in (*found["traces"], *found["undecided"]):
        if any(window["outcome"] == "hit" and window["margin_s"] is None for window in _windows(row)):
            raise refusal(path, f'traces (id "{row["id"]}"), margin_s', "missing of a hit", accepted)
    return report


def compare(a: dict[str, Any], b: dict[str, Any], names: tuple[str, str] = ("A", "B")) -> Comparison:
    """Compare two score reports. Raises Refusal when they are not of the same library."""
    if a["library"]["digest"] != b["library"]["digest"]:
        rule = f"made on another library than {names[0]}"
        raise refusal(names[1], "library", rule, "two reports on the same traces and labels", b["library"]["digest"])
    for kind in ("traces", "undecided"):
        if {item["id"] for item in a[kind]} != {item["id"] for item in b[kind]}:
            raise refusal(names[1], kind, f"other traces than {names[0]}", "two reports on the same traces and labels")
    pairs = _pairs(a["traces"], b["traces"])
    missed = _discordant(pairs, ("missed",))
    nuisance = _discordant(pairs, ("nuisance", "early"))
    trips = a["totals"]["nuisance_trips"], b["totals"]["nuisance_trips"]
    verdicts = a["acceptance"]["verdict"], b["acceptance"]["verdict"]
    changed = tuple((one, two) for one, two in pairs if _row(one) != _row(two))
    undecided = _pairs(a["undecided"], b["undecided"])
    loosened = tuple(_loosened(*(report["acceptance"]["limits"] for report in (a, b))))
    under = _verdict_under(a["acceptance"]["limits"], b) if loosened else None
    return Comparison(
        changed=changed,
        undecided=tuple((one, two) for one, two in undecided if _row(one) != _row(two)),
        same=len(pairs) - len(changed),
        missed=missed,
        nuisance=nuisance,
        nuisance_trips=trips,
        margins=_margins(pairs, a["acceptance"]["limits"]["confidence"] or SHOWN_CONFIDENCE),
        verdicts=verdicts,
        worse=tuple(_worse(missed, trips, verdicts, under)),
        loosened=loosened,
        judges=(a.get("judge", {}).get("digest"), b.get("judge", {}).get("digest")),
        settings=tuple(_settings_changed(_settings_of(a), _settings_of(b))),
        altitudes=(_settings_of(a).get(ALTITUDE) or 0.0, _settings_of(b).get(ALTITUDE) or 0.0),
    )


def _settings_of(report: dict[str, Any]) -> dict[str, float]:
    """Return the settings of a report by name, as the logic has them, and the altitude of the site."""
    told = report.get("settings", {})
    return {**told.get("values", {}), **{key: told[key] for key in (ALTITUDE,) if key in told}}


def _settings_changed(a: dict[str, float], b: dict[str, float]) -> Iterable[tuple[str, float | None, float | None]]:
    """Yield each setting that is another in B, in the order of the logic's."""
    for name in (*(name for name, *_ in ranges.SETTINGS), ALTITUDE):
        if a.get(name) != b.get(name):
            yield name, a.get(name), b.get(name)


def _loosened(a: dict[str, Any], b: dict[str, Any]) -> Iterable[str]:
    """Yield the rules that ask less of B than of A."""
    for rule, way in LOOSER.items():
        idle = rule in UNDER_CONFIDENCE and None in (a.get("confidence"), b.get("confidence"))
        if rule not in a or rule not in b or idle or a[rule] is None:
            continue
        if b[rule] is None or way * (b[rule] - a[rule]) > 0:
            yield f"{rule}: {a[rule]:g}, {'none' if b[rule] is None else format(b[rule], 'g')}"


def _verdict_under(limits: dict[str, Any], report: dict[str, Any]) -> str | None:
    """Return the verdict that a report would have under other limits, None where it does not hold what that takes."""
    from replay.score.judgement import Totals, judgement_of

    names = {field.name for field in fields(Totals)}
    wanted = {field.name for field in fields(Acceptance)}
    if not (names <= report["totals"].keys() and wanted <= limits.keys()):
        return None
    totals = Totals(**{name: report["totals"][name] for name in names})
    acceptance = Acceptance(**{name: limits[name] for name in wanted})
    windows = [window for row in report["traces"] for window in row.get("windows", ())]
    margins = [window["margin_s"] for window in windows if window["outcome"] == "hit"]
    try:
        return judgement_of(totals, margins, acceptance).verdict
    except ValueError:  # counts that cannot be
        return None


def compare_scores(
    a: "Score | Path | str",
    b: "Score | Path | str",
    library: "GivenLibrary | None" = None,
    *,
    jobs: int = 1,
    cluster: str | None = None,
    progress: "Progress | None" = None,
) -> Comparison:
    """Compare two scores of one library: what changed, and whether B is worse than A.

    Each is a `Score`, a JSON report that was written before, or a settings file to score the library with; - is
    standard input, settings where a library is given. jobs, cluster: as in `score_library`. The result is a
    `Comparison`: `worse`, `changed`, `as_json()`. Raises Refusal.
    """
    units: list[Units] = []

    def report(given: "Score | Path | str") -> dict[str, Any]:
        if not isinstance(given, Path | str):
            units.append(given.settings.units)
            return given.as_json()
        piped = str(given) == STANDARD_INPUT
        if Path(given).suffix.lower() != ".toml" and not (piped and library is not None):
            return read_report(place_of(given))
        if library is None:
            accepted = "--library LIBRARY, or two JSON reports"
            raise refusal(given, "", "settings without a library to score them on", accepted)
        from replay.engine.workers import quiet
        from replay.score.scoring import score_library

        return report(score_library(library, given, jobs=jobs, cluster=cluster, progress=progress or quiet))

    names = [str(given) if isinstance(given, Path | str) else name for name, given in (("A", a), ("B", b))]
    found = compare(report(a), report(b), (names[0], names[1]))
    return replace(found, units=units[-1]) if units else found


def _pairs(a: Iterable[dict[str, Any]], b: Iterable[dict[str, Any]]) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    others = {item["id"]: item for item in b}
    return [(item, others[item["id"]]) for item in a]


def _pairs_of_windows(
    pairs: Iterable[tuple[dict[str, Any], dict[str, Any]]],
) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """Return the same window, or the trace without one, under both; a trace that only one parts is taken whole."""
    found: list[tuple[dict[str, Any], dict[str, Any]]] = []
    for one, two in pairs:
        windows = _windows(one), _windows(two)
        found += zip(*windows, strict=True) if len(windows[0]) == len(windows[1]) else [(one, two)]
    return found


def _discordant(pairs: Iterable[tuple[dict[str, Any], dict[str, Any]]], wrong: tuple[str, ...]) -> Discordant:
    wrongs = [(one["outcome"] in wrong, two["outcome"] in wrong) for one, two in _pairs_of_windows(pairs)]
    only_a, only_b = wrongs.count((True, False)), wrongs.count((False, True))
    return Discordant(only_a, only_b, mcnemar(only_a, only_b))


def _margins(pairs: Iterable[tuple[dict[str, Any], dict[str, Any]]], confidence: float) -> Margins:
    hits = [(one, two) for one, two in _pairs_of_windows(pairs) if one["outcome"] == two["outcome"] == "hit"]
    changes = [round(two["margin_s"] - one["margin_s"], 3) for one, two in hits]
    if not changes:
        return Margins(0, None, None, confidence)
    interval = bootstrap_mean(changes, confidence, BOOTSTRAP_SEED)
    ends = None if interval is None else (round(interval[0], 3), round(interval[1], 3))
    return Margins(len(changes), round(sum(changes) / len(changes), 3), ends, confidence)


def _worse(missed: Discordant, trips: tuple[int, int], verdicts: tuple[str, str], under: str | None) -> Iterable[str]:
    if missed.only_b:
        yield f"misses {counted(missed.only_b, 'fault')} that A does not miss"
    if trips[1] > trips[0]:
        yield f"{trips[1]} nuisance trips, A has {trips[0]}"
    if RANKS.index(verdicts[1]) > RANKS.index(verdicts[0]):
        yield f"acceptance {verdicts[1]}, A has {verdicts[0]}"
    elif under is not None and RANKS.index(under) > RANKS.index(verdicts[0]):
        yield f"acceptance {under} under A's rules, A has {verdicts[0]}"
