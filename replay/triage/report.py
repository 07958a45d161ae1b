"""All machines, the one to open first on top: for the terminal, as JSON, and the events as CSV."""

import csv
import io
import itertools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from replay.engine import logic_digest
from replay.engine.engines import rows_about
from replay.engine.workers import Progress, quiet, workers
from replay.ground.places import place_of
from replay.ground.refusal import Refusal, refusal
from replay.ground.shown import shown_in
from replay.library.given import GivenSettings, settings_of
from replay.settings import Settings
from replay.triage import kernel
from replay.triage.days import Day, Days
from replay.triage.doubts import net_trend, starts_per_h, zero_trend
from replay.triage.events import Event
from replay.triage.exposure import MS_PER_H, rates
from replay.triage.findings import Findings, Piece
from replay.triage.logs import find_logs
from replay.triage.namesakes import told_by_several
from replay.triage.obeyed import RESET_AFTER_MS
from replay.triage.periods import Compared, compared, worse
from replay.triage.ranking import ADVICE, RULE, notes, order, rank, reasons
from replay.triage.run import examine_all
from replay.triage.trends import Trend

SCHEMA = "lubetrip-triage/2"
FORMULA = ("=", "+", "-", "@", "\t", "\r")  # what makes a spreadsheet take a cell of text for a formula


@dataclass(frozen=True)
class Triage:
    """What the logs of some machines show; `machines` in the order in which to open them, before: the period before."""

    settings: Settings
    machines: tuple[Findings, ...]
    before: "Triage | None" = None

    @property
    def refused(self) -> tuple[str, ...]:
        """Return why some logs could not be read, those of the period before too."""
        own = [told for found in self.machines for told in found.refused]
        return (*own, *(self.before.refused if self.before else ()))

    @property
    def confidence(self) -> float:
        """Return the confidence of the limits: that of the settings' acceptance."""
        return self.settings.acceptance.shown_confidence

    def as_json(self) -> dict[str, Any]:
        """Return the report in the form of its schema: s, kPa, absolute pressures."""
        # One engine, unless findings of several runs were put together.
        engines = sorted({found.engine for found in self.machines if found.logs})
        return {
            "schema": SCHEMA,
            "settings": self.settings.as_json(),
            "logic": {"engine": ", ".join(engines), "digest": logic_digest()},
            "rule": RULE,
            "exposure": [rate.as_json() for rate in rates(self.machines, self.confidence)],
            **({"refused": list(self.refused)} if self.refused else {}),
            "machines": [self._machine(place, found) for place, found in enumerate(self.machines, start=1)],
            **({} if self.before is None else {"before": [self._before(pair) for pair in self.compared()]}),
        }

    def compared(self) -> list[Compared]:
        """Return each machine with itself in the period before."""
        return compared(self.machines, self.before.machines if self.before else ())

    def _before(self, pair: Compared) -> dict[str, Any]:
        with shown_in(self.settings.units):
            told = {"machine": pair.machine, "worse": worse(pair, self.confidence)}
        if pair.before is None:
            return {**told, "before": None}
        figures = {"advice": ADVICE[rank(pair.before)], "in_all": _day_json(pair.before.days.total())}
        exposure = [rate.as_json() for rate in rates([pair.before], self.confidence)]
        return {**told, "before": {**figures, "exposure": exposure}}

    def _machine(self, place: int, found: Findings) -> dict[str, Any]:
        return {
            "machine": found.machine,
            "place": place,
            "advice": ADVICE[rank(found)],
            "why": list(reasons(found)),
            "notes": list(notes(found)),
            "files": [str(file) for file in found.files],
            "parts": [_piece_json(piece) for piece in found.pieces],
            "logs": found.logs,
            "rows": found.rows,
            "hours_elapsed": _hours(found.elapsed_ms),
            "judged_share": round(found.judged_share, 4),
            "gaps": {
                "count": found.gaps.count,
                "hours": _hours(found.gaps.ms),
                "longest_hours": _hours(found.gaps.longest_ms),
                "lost_within_a_file_hours": _hours(found.gaps.lost_ms),
            },
            "overlap_hours": _hours(found.overlap_ms),
            "run_hours": _hours(found.run_ms),
            "credible_run_hours": _hours(found.seen_ms),
            "doubted_hours": _hours(found.doubted_ms),
            "starved_s": found.starved_ms / 1000,
            "vacuum_s": found.vacuum_ms / 1000,
            "ran_on_s": found.ran_on_ms / 1000,
            "reload_s": found.reload_ms / 1000,
            "starts": found.starts,
            "starts_per_hour": _rounded(starts_per_h(found)),
            "in_all": _day_json(found.days.total()),
            "net_oil_pressure_trend": _trend_json(found.days, net_trend(found)),
            "standstill_zero_trend": _trend_json(found.days, zero_trend(found)),
            "net_oil_pressure_least_kpa": _kpa(found.net_least_pa),
            "exposure": [rate.as_json() for rate in rates([found], self.confidence)],
            "under_these_settings": {
                "stops": dict(sorted(found.stops.items())),
                "lockouts": found.lockouts,
                "reset_after_h": _hours(RESET_AFTER_MS),
                "run_hours": _hours(found.obeyed_run_ms),
            },
            "days": [{"day": found.days.told(number), **_day_json(day)} for number, day in found.days.in_order()],
            "events": [event_json(event) for event in found.gravest.all()],
            "events_left_out": found.gravest.left_out,
        }

    def as_csv(self) -> str:
        """Return one line an event, machines and events in their order. Text never begins as a formula."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(("machine", *EVENT))
        for found in self.machines:
            for event in found.gravest.all():
                writer.writerow([_cell(value) for value in (found.machine, *event_json(event).values())])
        return out.getvalue()


def triage(findings: Iterable[Findings], settings: Settings, before: Triage | None = None) -> Triage:
    """Return the report on some machines."""
    return Triage(settings, tuple(sorted(told_by_several(findings), key=order)), before)


def triage_logs(
    paths: Sequence[Path | str],
    settings: GivenSettings = None,
    *,
    before: Sequence[Path | str] = (),
    by_folder: bool = False,
    jobs: int = 1,
    cluster: str | None = None,
    progress: Progress = quiet,
) -> Triage:
    """Say from unlabelled logs which machine to open first, and why.

    paths: trace files, folders of them, libraries; without settings, those that the one library among them names.
    before: the same of the period before, to hold each machine against itself by its name. by_folder: all logs of a
    folder are one machine. jobs, cluster: as in `score_library`, a machine at a time. The result is a `Triage`:
    `machines`, the one to open first on top, `before`, `refused`, `as_json()`, `as_csv()`. A log that cannot be read is
    left out and named in `refused`; its machine is never called healthy. Raises Refusal where none can be read.
    """
    found = find_logs([place_of(path) for path in paths], by_folder=by_folder)
    if settings is None and len(found.settings) != 1:
        rule = f"{len(found.settings)} libraries name settings of their own" if found.settings else "no settings"
        raise refusal("triage", "", rule, "--settings FILE, or one library with settings = FILE")
    checked = settings_of(settings or found.settings[0], None, "triage")
    old = find_logs([Path(path) for path in before], by_folder=by_folder).machines if before else {}
    rows = rows_about(part.path for part in itertools.chain(*found.machines.values(), *old.values()))
    with workers(jobs, cluster) as each, progress(rows, "reading logs") as stage:
        earlier = triage(examine_all(old, checked, stage.advance, each=each), checked) if before else None
        now = triage(examine_all(found.machines, checked, stage.advance, each=each), checked, earlier)
    if now.refused and not any(machine.logs for machine in now.machines):
        raise Refusal(now.refused[0])
    return now


def _piece_json(piece: Piece) -> dict[str, Any]:
    clock = piece.placed.clock
    return {
        "file": str(piece.placed.part.path),
        "source": piece.placed.part.source,
        "start": clock.stamp(0),
        "end": clock.stamp(piece.end_ms),
        "rows": piece.rows,
        "rows_told_before": piece.doubled,
    }


def _day_json(day: Day) -> dict[str, Any]:
    """Return the figures of a day, or of all."""
    return {
        "hours_logged": _hours(day[kernel.DAY_LOGGED]),
        "run_hours": _hours(day[kernel.DAY_RUN]),
        "starved_s": day[kernel.DAY_LOW] / 1000,
        "net_oil_pressure_running_kpa": _rounded(day.net_pa, 1000),
        "net_oil_pressure_at_standstill_kpa": _rounded(day.rest_pa, 1000),
        "time_to_oil_pressure_s": _rounded(day.build_ms, 1000),
        "time_to_oil_pressure_most_s": day[kernel.DAY_BUILD_MOST] / 1000 if day[kernel.DAY_BUILT] else None,
        "starts_with_oil_pressure": day[kernel.DAY_BUILT],
        "starts_without_oil_pressure": day[kernel.DAY_NEVER],
        "starts_not_seen": day[kernel.DAY_UNSEEN],
        "dry_s": day[kernel.DAY_DRY] / 1000,
    }


def _trend_json(days: Days, went: Trend | None) -> dict[str, Any] | None:
    if went is None:
        return None
    ends = {"from_day": days.told(went.first_day), "to_day": days.told(went.last_day)}
    return {**ends, "from_kpa": _rounded(went.first, 1000), "to_kpa": _rounded(went.last, 1000), "sure": went.sure}


# Of an event, in kPa, s of its file's own time, and on the wall: columns of the CSV and keys of the JSON report.
EVENT: dict[str, Callable[[Event], Any]] = {
    "kind": lambda event: event.kind,
    "start": lambda event: event.clock.stamp(event.start_ms),
    "end": lambda event: event.clock.stamp(event.end_ms),
    "file": lambda event: event.file,
    "source": lambda event: event.source,
    "start_s": lambda event: event.seconds(event.start_ms),
    "end_s": lambda event: event.seconds(event.end_ms),
    "length_s": lambda event: event.length_ms / 1000,
    "short_of_oil_s": lambda event: event.low_ms / 1000,
    "net_oil_pressure_least_kpa": lambda event: _kpa(event.net_least_pa),
    "integral_percent": lambda event: event.integral_percent,
    "suction_least_kpa": lambda event: _kpa(event.suction_least_pa),
    "vacuum_s": lambda event: event.vacuum_ms / 1000,
    "full_at_s": lambda event: event.seconds(event.full_at_ms),
    "ran_on_s": lambda event: event.ran_on_ms / 1000,
    "reload_at_s": lambda event: event.seconds(event.reload_at_ms),
    "reload_s": lambda event: event.reload_ms / 1000,
    "reload_suction_kpa": lambda event: _kpa(event.reload_suction_pa),
    "doubt_s": lambda event: event.doubt_ms / 1000,
    "doubts": lambda event: " ".join(event.doubts),
    "ends_with_log": lambda event: event.ends_with_log,
}


def event_json(event: Event) -> dict[str, Any]:
    """Return an event as it stands in the reports."""
    return {name: of(event) for name, of in EVENT.items()}


def _cell(value: object) -> object:
    """Return a cell: text that a spreadsheet would take for a formula is marked as text, numbers stay numbers."""
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, str) and value.startswith(FORMULA):
        return "'" + value
    return value


def _hours(time_ms: int) -> float:
    return round(time_ms / MS_PER_H, 6)


def _rounded(value: float | None, size: float = 1) -> float | None:
    return None if value is None else round(value / size, 3)


def _kpa(pascals: int | None) -> float | None:
    return None if pascals is None else pascals / 1000
