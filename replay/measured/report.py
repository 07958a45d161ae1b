"""The report of an import: what was read, kept, left out, held, lost; ranges; what looks wrong."""

from dataclasses import asdict, dataclass, field
from typing import Any

from replay.measured.assemble import HOUR_MS, LEAST_ROWS, Counts
from replay.measured.losses import judged_share, said_first
from replay.measured.profile_keys import CHANNELS, PRESSURES
from replay.measured.unit_text import WANTED


@dataclass(frozen=True)
class TraceLine:
    """One trace that was made: its id, its file in the library, when it starts, what is in it."""

    id: str
    file: str
    start: str
    rows: int
    hours: float
    run_hours: float


@dataclass(frozen=True)
class Report:
    """What an import did with one machine of a file; `already` names the entries of a file that was imported before.

    machine: its name where the file or the profile says it; replaced: the entries that went for the new ones.
    """

    source: str
    digest: str
    machine: str = ""
    profile: str = ""
    fingerprint: str = ""
    notes: list[str] = field(default_factory=list)
    counts: Counts = field(default_factory=Counts)
    traces: list[TraceLine] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    already: list[str] = field(default_factory=list)
    replaced: list[str] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """Return the report as plain JSON values; pressures in kPa absolute, times in s and h."""
        head = {"file": self.source, "sha256": self.digest} | ({"machine": self.machine} if self.machine else {})
        if self.already:
            return head | {"already_imported_as": self.already}
        counts = self.counts
        return head | {
            "replaced": self.replaced,
            "judged_share": judged_share(counts),
            "said_first": said_first(counts),
            "profile": self.profile,
            "fingerprint": self.fingerprint,
            "notes": self.notes,
            "rows": {
                "read": counts.read,
                "kept": counts.kept,
                "blank": counts.blank,
                "made": counts.made,
                "without_running_status": counts.without_status,
                "running_for_a_part": counts.partly,
                "flickers": counts.flickers,
                "left_out": {why: asdict(mend) for why, mend in counts.mends.items()},
            },
            "starts": counts.starts,
            "not_good": counts.not_good,
            "held": counts.held,
            "passed_over": counts.passed_over,
            "gaps": {
                "count": counts.gaps,
                "lost_h": counts.lost_ms / HOUR_MS,
                "longest_s": counts.longest_gap_ms / 1000,
                "traces_dropped": sum(part.rows < LEAST_ROWS for part in counts.parts),
            },
            "hours": {"kept": hours_of(counts), "running": run_hours_of(counts)},
            "signals": {signal: signal_of(signal, counts) for signal in counts.readings},
            "traces": [asdict(line) for line in self.traces],
            "doubts": self.doubts,
        }


def hours_of(counts: Counts) -> float:
    """Return the hours that were kept."""
    return sum(part.end_ms - part.start_ms for part in counts.parts) / HOUR_MS


def run_hours_of(counts: Counts) -> float:
    """Return the hours kept in which the machine ran."""
    return sum(part.run_ms for part in counts.parts) / HOUR_MS


def signal_of(signal: str, counts: Counts) -> dict[str, Any]:
    """Return what a report says of one signal: readings, unit, least and most."""
    seen = counts.readings[signal]
    pressure = signal in PRESSURES
    size = 1000.0 if pressure else 1.0
    unit = "kPa absolute" if pressure else WANTED[CHANNELS[signal]]
    found = {"unit": unit, "readings": seen.readings, "without": seen.missing, "out_of_range": seen.beyond}
    found |= {"least": seen.least / size, "most": seen.most / size} if seen.readings else {"least": None, "most": None}
    return found | ({"longest_without_change_s": seen.flat_ms / 1000} if pressure else {})
