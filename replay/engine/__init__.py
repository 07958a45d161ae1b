"""The logic of `protect` over whole traces, by three engines that give the same result in every bit.

How to work over many traces: a function of one trace that travels (at the top of a module, arguments bound by
`functools.partial`), called through `each` of `workers`; it takes nothing from the order of work, and writes files
whole or not at all.
"""

from firmware_ref.digest import logic_digest
from replay.engine.causes import CAUSES, cause_of, cause_words, doubt_words, doubts_of, told_cause
from replay.engine.engines import ENGINES, Engine, engine_for, engine_named
from replay.engine.portable import STATES, Change, Replay, Stop, replay_trace

__all__ = [
    "CAUSES",
    "ENGINES",
    "STATES",
    "Change",
    "Engine",
    "Replay",
    "Stop",
    "cause_of",
    "cause_words",
    "doubt_words",
    "doubts_of",
    "engine_for",
    "engine_named",
    "logic_digest",
    "replay_trace",
    "told_cause",
]
