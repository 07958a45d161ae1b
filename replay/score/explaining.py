"""What the logic decided over one trace, as a report."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from replay.engine import STATES, Engine, Replay, cause_of, compiled, doubts_of, engine_named
from replay.library import Entry, trace_with_settings
from replay.library.given import GivenSettings
from replay.score.verdict import Verdict, judge
from replay.settings import Settings
from replay.trace import AnyTrace, LongTrace
from replay.trace.files import rows_about


@dataclass(frozen=True)
class Explanation:
    """One trace and what the logic did over it; entry and verdict where a library labels the trace."""

    trace: AnyTrace
    replay: Replay
    settings: Settings
    engine: Engine
    entry: Entry | None
    verdict: Verdict | None

    def as_json(self) -> dict[str, Any]:
        """Return the timeline of one trace in the form of its schema; pressures in Pa, absolute."""
        trace, replay = self.trace, self.replay
        return {
            "schema": "lubetrip-explain/1",
            "settings": self.settings.as_json(),
            "logic": self.engine.as_json(),
            "trace": trace.name,
            "timeline": [
                {
                    "time_s": trace.seconds(change.time_ms),
                    "from": STATES[change.before],
                    "to": STATES[change.after],
                    "cause": cause_of(change.cause),
                    "doubts": doubts_of(change.cause),
                    "net_oil_pressure_pa": change.net_pa,
                    "suction_pressure_pa": change.suction_pa,
                    "integral_percent": change.integral_percent,
                }
                for change in replay.changes
            ],
            "stops": [
                {
                    "time_s": trace.seconds(stop.time_ms),
                    "cause": cause_of(stop.cause),
                    "doubts": doubts_of(stop.cause),
                }
                for stop in replay.stops
            ],
            "run_hours": round(replay.run_ms / 3.6e6, 6),
            "late_ticks": replay.late,
            "locked_out": replay.locked_out,
            "verdict": self.verdict.as_json() if self.verdict else None,
        }


def explain_trace(trace: AnyTrace | Path | str, settings: GivenSettings = None) -> Explanation:
    """Return the decisions of the logic over one trace, and the verdict where the file belongs to a library.

    Without settings, those of that library. The result is an `Explanation`: `replay.changes`, `replay.stops`,
    `as_json()`. Raises Refusal.
    """
    return explained(*trace_with_settings(trace, settings))


def explained(read: AnyTrace, entry: Entry | None, checked: Settings) -> Explanation:
    """Return the decisions over a trace that is read or opened already."""
    rows = rows_about(read.path) if isinstance(read, LongTrace) else len(read)  # a long one is not read to count them
    engine = engine_named("compiled" if compiled.pays(rows) else "portable")
    replay = engine.replay(read, checked)
    return Explanation(read, replay, checked, engine, entry, judge(entry, read, replay) if entry else None)
