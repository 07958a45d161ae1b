"""The logic of `protect` over whole traces, by three engines that give the same result in every bit."""

from replay.engine.engines import ENGINES, Engine, engine_for, engine_named
from replay.engine.portable import CAUSES, STATES, Change, Replay, Stop, logic_digest, replay_trace

__all__ = [
    "CAUSES",
    "ENGINES",
    "STATES",
    "Change",
    "Engine",
    "Replay",
    "Stop",
    "engine_for",
    "engine_named",
    "logic_digest",
    "replay_trace",
]
