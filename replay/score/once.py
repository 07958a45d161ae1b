"""What a library tells more than once: the same file twice, recordings that overlap, one machine under two spellings.

Each moment of a machine counts once. Of two traces that tell the same, the one that began first (of equals, the first
in the list) is judged; what it tells of the other is noted there as `told`, and is judged in the other no more:

    a trace of the same bytes and label    all of it
    overlapping recordings of one machine  run hours, stops and upsets of the stretch; windows that begin alike in both

Of a harmless recording and one of a fault outside of what they share, the harmless one tells the stretch, whichever
began first: it has the hours, and a stop there is its nuisance alone.

Recordings overlap where `start_utc` says so, or where they hold the same readings row by row: a stretch of LEAST_ROWS
lively rows or more at one distance in time, whatever the machine is called. Of windows that begin alike the
one of the earlier deadline counts. Labels that contradict each other otherwise are told, judged as they stand, and show
nothing. Readings that are no pressure in kPa are doubted by their size alone. A seventh of the pressure, psi taken for
kPa, looks like a machine short of oil in a vacuum: one trace may be that, not most of those that ride through, so that
question is asked where most of them look like it (`_psi_doubts`).
"""

import itertools
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from replay.engine.workers import Each, one_by_one
from replay.ground.refusal import Refusal
from replay.library import Entry, Library
from replay.library.digest import sha256_of
from replay.library.library import Span
from replay.score.windows import joined
from replay.trace.files import read_blocks

ROWS = 1 << 18  # of a trace that are looked at together
WINDOW = 16  # rows that are compared together
LIVELY = 14  # of them that have to be other than the row before, and than the one before that
LEAST_ROWS = 64  # of a stretch that is taken for the same recording
SHARED = 4  # places of it that have to be the same
SPARSE, MOST_SAMPLES = 8, 20_000  # one place in so many is kept, and in more of them where that becomes too many
# kPa. Pressures of refrigerating plants seldom leave these (common practice, no source).
LEAST_KPA, MOST_KPA = 20.0, 6000.0
MOSTLY = 0.5
# kPa. Assumed: a well machine told in psi holds its net oil pressure between the first two and all pressures below the
# third (20 to 60 psi over a suction of up to 7 bar); taken for kPa such oil is below what protections count as short.
PSI_LEAST_NET, PSI_MOST_NET, PSI_MOST = 8.0, 60.0, 160.0
SELDOM = 0.02  # of the rows may be beyond, as at a start
PSI = (
    f"running, net oil pressure {PSI_LEAST_NET:g} to {PSI_MOST_NET:g} kPa, nothing above {PSI_MOST:g} kPa:"
    " psi taken for kPa?"
)

# Words of a family in which a sensor fails, or what brings its readings.
SENSORS = re.compile("sensor|transmitter|transducer|probe|signal|wir(e|ing)|cable|reading|channel|dropout|logger")
MADE = re.compile("^synthetic:.*; .*(dead band|coarse digits|taken for)")  # a chain whose readings stand still
SAME, OVERLAP, CONTRADICT = "same", "overlap", "contradict"
SAME_S = 1.0  # moments of two recordings that differ by no more are one


@dataclass(frozen=True)
class Look:
    """What is looked at before a library is judged.

    sha256: of the file; times in s of the trace's own time, step_s from row to row in the mean; hashes, times:
    uint64[n] and float64[n], stretches of rows that tell it from others, and when they begin; unit: why the unit of
    its pressures is in doubt, or ""; psi: whether its machine ran, and its pressures are those of a well one in psi.
    """

    sha256: str
    start_s: float
    end_s: float
    step_s: float
    hashes: NDArray[np.uint64]
    times: NDArray[np.float64]
    unit: str
    psi: bool = False


@dataclass(frozen=True)
class Twice:
    """Two traces, by their places, that tell the same for so many seconds: all of it, a stretch, or not alike."""

    kind: str
    first: int
    second: int
    seconds: float


@dataclass(frozen=True)
class Once:
    """A library in which each moment counts once, the pairs of traces that tell the same, and digests of the files."""

    library: Library
    twice: tuple[Twice, ...]
    sha256: dict[Path, str]

    @property
    def spellings(self) -> tuple[tuple[str, ...], ...]:
        """Return the spellings of each machine that has more than one."""
        return spellings(entry.machine for entry in self.library.entries)

    def as_json(self) -> list[dict[str, Any]]:
        """Return the pairs as they stand in a report."""
        ids = [entry.id for entry in self.library.entries]
        return [vars(pair) | {"first": ids[pair.first], "second": ids[pair.second]} for pair in self.twice]


def folded(name: str) -> str:
    """Return a name as a reader hears it: without case, forms of one letter, and blanks around or doubled."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def spellings(names: Iterable[str]) -> tuple[tuple[str, ...], ...]:
    """Return the names that are one to a reader, each group with all its spellings."""
    groups: dict[str, set[str]] = {}
    for name in names:
        groups.setdefault(folded(name), set()).add(name)
    return tuple(tuple(sorted(group)) for _, group in sorted(groups.items()) if len(group) > 1)


def sensor_fails(entry: Entry) -> bool:
    """Say whether the family of a trace tells of a sensor that fails, or the origin of a synthesised one does."""
    return SENSORS.search(folded(entry.family)) is not None or MADE.search(entry.origin) is not None


# ------------------------------------------------------------------------------------------------ one trace


def look(entry: Entry) -> Look:
    """Look at one trace, in bounded memory. One that cannot be read is like no other: judging it says why."""
    seen = _Seen()
    try:
        for columns in read_blocks(entry.path, ROWS):
            seen.take(columns)
        digest = sha256_of(entry.path)
    except Refusal:
        seen, digest = _Seen(), f"of {entry.path}"
    step_s = (seen.end_s - seen.start_s) / max(1, seen.rows - 1)
    return Look(digest, seen.start_s, seen.end_s, step_s, *seen.places(), seen.unit(), seen.psi())


class _Seen:
    """The rows of a trace, block by block."""

    def __init__(self) -> None:
        self.rows, self.start_s, self.end_s = 0, 0.0, 0.0
        self.sparse = SPARSE
        self.kept: tuple[NDArray[np.uint64], NDArray[np.float64]] = (np.empty(0, np.uint64), np.empty(0))
        self.carried: tuple[NDArray[np.uint64], NDArray[np.float64]] = (np.empty(0, np.uint64), np.empty(0))
        self.known = {"oil": 0, "suction": 0}
        self.beyond = {"oil": 0, "suction": 0}
        self.below = {"oil": 0, "suction": 0}
        self.ran = self.lifted = self.short = 0  # rows of a running machine; with more net oil pressure, and with less

    def take(self, columns: dict[str, NDArray[np.float64]]) -> None:
        time = columns["time_s"]
        if not len(time):
            return
        if not self.rows:
            self.start_s = float(time[0])
        self.rows, self.end_s = self.rows + len(time), float(time[-1])
        for channel in self.known:
            values = columns[f"{channel}_pressure_kpa"]
            self.known[channel] += int(np.count_nonzero(~np.isnan(values)))
            with np.errstate(invalid="ignore"):
                self.beyond[channel] += int(np.count_nonzero(np.abs(values) > MOST_KPA))
                self.below[channel] += int(np.count_nonzero(np.abs(values) < LEAST_KPA))
        oil, suction, runs = columns["oil_pressure_kpa"], columns["suction_pressure_kpa"], columns["running"] == 1.0
        with np.errstate(invalid="ignore"):
            self.ran += int(np.count_nonzero(runs & ~np.isnan(oil - suction)))
            self.lifted += int(np.count_nonzero(runs & ((oil - suction > PSI_MOST_NET) | (oil > PSI_MOST))))
            self.short += int(np.count_nonzero(runs & (oil - suction < PSI_LEAST_NET)))
        rows = np.concatenate((self.carried[0], _row_hashes(columns)))
        times = np.concatenate((self.carried[1], time))
        self.carried = rows[1 - WINDOW :], times[1 - WINDOW :]
        self._keep(rows, times)

    def _keep(self, rows: NDArray[np.uint64], times: NDArray[np.float64]) -> None:
        """Keep some places by what stands there, so that the same stretch of another trace keeps the same ones."""
        if len(rows) < WINDOW:
            return
        count = len(rows) - WINDOW + 1
        hashes = np.zeros(count, np.uint64)
        moves = np.zeros(count, np.int64)
        still = np.ones(len(rows), bool)
        still[2:] = (rows[2:] == rows[1:-1]) | (rows[2:] == rows[:-2])
        for at in range(WINDOW):
            hashes = hashes * np.uint64(0x9E3779B97F4A7C15) + rows[at : at + count]
            moves += ~still[at : at + count]
        hashes ^= hashes >> np.uint64(31)
        chosen = (moves >= LIVELY) & (hashes % np.uint64(self.sparse) == 0)
        self.kept = (
            np.concatenate((self.kept[0], hashes[chosen])),
            np.concatenate((self.kept[1], times[:count][chosen])),
        )
        while len(self.kept[0]) > MOST_SAMPLES:
            self.sparse *= 2
            left = self.kept[0] % np.uint64(self.sparse) == 0
            self.kept = self.kept[0][left], self.kept[1][left]

    def places(self) -> tuple[NDArray[np.uint64], NDArray[np.float64]]:
        """Return what stands at one place of the trace alone."""
        hashes, first, counts = np.unique(self.kept[0], return_index=True, return_counts=True)
        return hashes[counts == 1], self.kept[1][first[counts == 1]]

    def unit(self) -> str:
        """Say why the unit is in doubt: most readings of a channel too large, or all but a few of both too small."""
        for channel, known in self.known.items():
            if known and self.beyond[channel] > MOSTLY * known:
                return f"{channel} pressure mostly beyond {MOST_KPA:g} kPa: Pa or mbar taken for kPa?"
        if all(known and self.below[channel] == known for channel, known in self.known.items()):
            return f"no pressure ever reaches {LEAST_KPA:g} kPa absolute: bar or MPa taken for kPa?"
        return ""

    def psi(self) -> bool:
        """Say whether the machine ran, and its pressures may be those of a well one in psi."""
        return self.ran > 0 and self.lifted <= SELDOM * self.ran and self.short <= MOSTLY * self.ran


def _row_hashes(columns: dict[str, NDArray[np.float64]]) -> NDArray[np.uint64]:
    """Return what each row reads as one number: both pressures in Pa and the run feedback."""
    found = np.zeros(len(columns["time_s"]), np.uint64)
    for name in ("oil_pressure_kpa", "suction_pressure_kpa", "running"):
        values = np.nan_to_num(columns[name] * 1000.0, nan=-1e9, posinf=-1e9, neginf=-1e9)
        number = np.rint(np.clip(values, -1e15, 1e15)).astype(np.int64).view(np.uint64)
        found = (found ^ number) * np.uint64(0xBF58476D1CE4E5B9)
        found ^= found >> np.uint64(29)
    return found


# ------------------------------------------------------------------------------------------------ all of them


def counted_once(library: Library, each: Each = one_by_one) -> Once:
    """Return a library in which each moment counts once.

    each: who works (`replay.engine.workers`).
    """
    entries = library.entries
    looks = each(look, entries)
    found: list[Twice] = []
    told: dict[int, list[Span]] = {}
    for first, second in _same_bytes(entries, looks):
        whole = looks[second].start_s, looks[second].end_s
        kind, _, spans = _told(entries[first], entries[second], (*whole, 0.0))
        if entries[first].label == entries[second].label:
            kind, spans = SAME, [whole]
        elif isinstance(entries[first].label, str) or isinstance(entries[second].label, str):
            kind = CONTRADICT
        found.append(Twice(kind, first, second, whole[1] - whole[0]))
        told.setdefault(second, []).extend(spans)
    for first, second, shared in _overlaps(entries, looks, {pair.second for pair in found}):
        kind, here, there = _told(entries[first], entries[second], shared)
        if kind:
            found.append(Twice(kind, first, second, shared[1] - shared[0]))
            told.setdefault(first, []).extend(here)
            told.setdefault(second, []).extend(there)
    doubts = {place: [seen.unit] for place, seen in enumerate(looks) if seen.unit}
    for place in _psi_doubts(entries, looks):
        doubts.setdefault(place, []).append(PSI)
    for pair in found:
        if pair.kind == CONTRADICT:
            for one, other in ((pair.first, pair.second), (pair.second, pair.first)):
                doubts.setdefault(one, []).append(f"contradicts {entries[other].id} over the same stretch")
    counted = [
        replace(entry, told=tuple(joined(told.get(place, ()))), doubt="; ".join(doubts.get(place, ())))
        for place, entry in enumerate(entries)
    ]
    digests = {entry.path: seen.sha256 for entry, seen in zip(entries, looks, strict=True)}
    return Once(replace(library, entries=tuple(counted)), tuple(found), digests)


def _psi_doubts(entries: Sequence[Entry], looks: Sequence[Look]) -> list[int]:
    """Return the traces whose pressures may be psi, where most of those that ride through look like it; else none."""
    rides = [seen.psi for entry, seen in zip(entries, looks, strict=True) if entry.label == "ride_through"]
    if sum(rides) <= MOSTLY * len(rides):
        return []
    return [place for place, seen in enumerate(looks) if seen.psi]


def _same_bytes(entries: Sequence[Entry], looks: Sequence[Look]) -> list[tuple[int, int]]:
    """Return each trace of the same bytes as another behind that one: of faults that of the earliest deadline.

    Faults come before what has no deadline, and of equals the first.
    """
    first: dict[str, int] = {}
    ends = [tuple(window.deadline_s for window in entry.windows) for entry in entries]
    order = sorted(range(len(entries)), key=lambda place: (not ends[place], ends[place], place))
    pairs = [(first.setdefault(looks[place].sha256, place), place) for place in order]
    return [(one, other) for one, other in pairs if one != other]


Shared = tuple[float, float, float]  # from, to in the second's own time; first's time less the second's


def _overlaps(entries: Sequence[Entry], looks: Sequence[Look], gone: set[int]) -> Iterable[tuple[int, int, Shared]]:
    """Yield pairs of traces that tell the same stretch, which began first in front."""
    by_clock = dict(_by_clock(entries, looks, gone))
    by_rows = {pair: shared for pair, shared in _by_rows(looks, gone) if pair not in by_clock}
    for pair, shared in sorted((by_clock | by_rows).items()):
        yield *pair, shared


def _by_clock(
    entries: Sequence[Entry], looks: Sequence[Look], gone: set[int]
) -> Iterable[tuple[tuple[int, int], Shared]]:
    """Yield overlaps of recordings of one machine that say when they began."""
    machines: dict[str, list[tuple[float, int]]] = {}
    for place, entry in enumerate(entries):
        if entry.start_utc is not None and place not in gone:
            machines.setdefault(folded(entry.machine), []).append((entry.start_utc.timestamp(), place))
    for placed in machines.values():
        placed.sort()
        for at, (one, first) in enumerate(placed):
            long_s = looks[first].end_s - looks[first].start_s
            for other, second in itertools.islice(placed, at + 1, None):
                since_s, start_s = round(other - one, 3), looks[second].start_s
                if since_s >= long_s:
                    break
                until_s = min(long_s - since_s, looks[second].end_s - start_s)
                yield (first, second), (start_s, start_s + until_s, looks[first].start_s + since_s - start_s)


def _by_rows(looks: Sequence[Look], gone: set[int]) -> Iterable[tuple[tuple[int, int], Shared]]:
    """Yield traces that hold the same rows at one distance in time."""
    places = [place for place in range(len(looks)) if place not in gone]
    hashes = np.concatenate([np.empty(0, np.uint64), *(looks[place].hashes for place in places)])
    times = np.concatenate([np.empty(0), *(looks[place].times for place in places)])
    owners = np.repeat(np.array(places, np.int64), [len(looks[place].hashes) for place in places])
    order = np.lexsort((owners, hashes))
    hashes, times, owners = hashes[order], times[order], owners[order]
    begins = np.flatnonzero(np.concatenate((np.ones(min(1, len(hashes)), bool), hashes[1:] != hashes[:-1])))
    first_of = np.repeat(begins, np.diff(np.append(begins, len(hashes))))
    shared: dict[tuple[int, int], list[tuple[float, float]]] = {}
    for at in np.flatnonzero(first_of != np.arange(len(hashes))).tolist():
        one = int(first_of[at])
        moments = float(times[one]), float(times[at])
        shared.setdefault((int(owners[one]), int(owners[at])), []).append(moments)
    for (one, other), alike in shared.items():
        apart = np.round([a - b for a, b in alike], 3)
        values, counts = np.unique(apart, return_counts=True)
        ahead = float(values[np.argmax(counts)])
        some = [moment for (_, moment), gap in zip(alike, apart.tolist(), strict=True) if gap == ahead]
        begin_s, end_s = min(some), max(some)
        if len(some) < SHARED or end_s - begin_s < (LEAST_ROWS - WINDOW) * looks[other].step_s:
            continue
        if looks[one].start_s - ahead <= looks[other].start_s:
            yield (one, other), (begin_s, end_s, ahead)
        else:
            yield (other, one), (begin_s + ahead, end_s + ahead, -ahead)


def _told(first: Entry, second: Entry, shared: Shared) -> tuple[str, list[Span], list[Span]]:
    """Return what the shared stretch of two traces is, and what of it the first and the second tell no more.

    "" where it is nothing to either label: what comes before a fault is not judged.
    """
    begin, end, ahead = shared
    if first.label == second.label == "ride_through":
        return OVERLAP, [], [(begin, end)]
    if "undecided" in (first.label, second.label):
        return "", [], []
    windows = [(window.earliest_s - ahead, window.deadline_s - ahead) for window in first.windows]
    own = [(window.earliest_s, window.deadline_s) for window in second.windows]
    both = [window for window in own if any(_careful(other, window) for other in windows)]
    alone = [window for window in own if window not in both]
    alone += [window for window in windows if not any(_careful(window, other) for other in own)]
    if any(begin <= until and since <= end for since, until in alone):
        return CONTRADICT, [], both
    if first.label == "ride_through":
        return OVERLAP, [], [(begin, end)]
    if second.label == "ride_through":
        return OVERLAP, [(begin + ahead, end + ahead)], []
    return (OVERLAP, [], both) if both else ("", [], [])


def _careful(one: Span, other: Span) -> bool:
    """Say whether two windows begin alike, and the first has the deadline that is as early or earlier."""
    return abs(one[0] - other[0]) <= SAME_S and one[1] <= other[1] + SAME_S
