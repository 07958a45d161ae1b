"""What the logic decided over one trace, as a report."""

from typing import Any

from replay.engine import CAUSES, STATES, Engine, Replay
from replay.score.scoring import Verdict
from replay.settings import Settings
from replay.trace import Trace


def explain_json(
    trace: Trace, replay: Replay, settings: Settings, engine: Engine, verdict: Verdict | None
) -> dict[str, Any]:
    """Return the timeline of one trace in the form of its schema; pressures in Pa, absolute."""
    return {
        "schema": "lubetrip-explain/1",
        "settings": settings.as_json(),
        "logic": engine.as_json(),
        "trace": trace.name,
        "timeline": [
            {
                "time_s": trace.seconds(change.time_ms),
                "from": STATES[change.before],
                "to": STATES[change.after],
                "cause": CAUSES[change.cause],
                "net_oil_pressure_pa": change.net_pa,
                "suction_pressure_pa": change.suction_pa,
                "integral_percent": change.integral_percent,
            }
            for change in replay.changes
        ],
        "stops": [{"time_s": trace.seconds(stop.time_ms), "cause": CAUSES[stop.cause]} for stop in replay.stops],
        "run_hours": round(replay.run_ms / 3.6e6, 6),
        "late_ticks": replay.late,
        "locked_out": replay.locked_out,
        "verdict": vars(verdict) if verdict else None,
    }
