"""Why a machine was stopped, in words: the reason code of `protect`, and the doubts that a stop on a sensor carries."""

import re
from collections.abc import Sequence

from protect import signals
from protect.state import CAUSE_CODE

CAUSES = (None, "oil", "reload", "sensor", "resets")
FIRST_DOUBT = signals.OIL_MISSING.bit_length() - 1
# Kinds of doubt as they read behind a channel; the standstill zero compares two.
KINDS = {"missing": "missing", "range": "out of range", "stuck": "stuck"}
TWICE = re.compile(r"suction ([a-z ]+), crankcase \1\b")
LATE_TICK = "late tick"
WHOLE = {"late": LATE_TICK, "standstill": "oil and crankcase differ at standstill"}


def cause_of(code: int) -> str | None:
    """Return the cause of a stop by name, None for none."""
    return CAUSES[code & CAUSE_CODE]


def doubts_of(word: int) -> tuple[str, ...]:
    """Return in words which readings were in doubt and why, by the bits of a cause or of conditions."""
    names = (name for bit, name in enumerate(signals.DOUBT_NAMES, start=FIRST_DOUBT) if word >> bit & 1)
    return tuple(_doubt(name) for name in names)


def _doubt(name: str) -> str:
    channel, _, kind = name.partition(" ")
    return f"{channel} {KINDS[kind]}" if kind else WHOLE[name]


def doubt_words(doubts: Sequence[str]) -> str:
    """Return doubts in a phrase. Without a crankcase sensor its channel is the suction's, and both are told as one."""
    return TWICE.sub(r"suction and crankcase \1", ", ".join(doubts))


def cause_words(cause: str | None, doubts: Sequence[str]) -> str:
    """Return a cause with its doubts: `sensor: oil stuck`; nothing for none."""
    return ": ".join(part for part in (cause or "", doubt_words(doubts)) if part)


def told_cause(code: int) -> str:
    """Return the cause of a stop with its doubts in words."""
    return cause_words(cause_of(code), doubts_of(code))
