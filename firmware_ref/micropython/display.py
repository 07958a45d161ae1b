"""What a person at the board reads: may it run, why not, how full the integral is, and by which settings.

A line of text is made when something in it has changed, behind the step and outside its locked heap.
"""

from protect import outputs, signals
from protect.state import CAUSE_CODE

CAUSES = ("memory lost", "oil", "reload", "sensor", "resets")  # by the reason codes of protect/state.py
DIGEST_SHOWN = 8  # digits of the settings' digest, enough to tell two files apart


def doubts(word: int) -> str:
    """Return in words which readings are in doubt and why, by the bits of a cause or of the conditions."""
    told, bit = [], signals.OIL_MISSING
    for name in signals.DOUBT_NAMES:
        if word & bit:
            told.append(name)
        bit <<= 1
    return ", ".join(told)


def line(results: list[int], digest: str) -> str:
    """Return the line for the outputs of a step and the digest of the settings."""
    cause = results[outputs.STOP_CAUSE]
    if results[outputs.RUN_PERMISSION]:
        told, named = "alarm" if results[outputs.ALARM] else "may run", doubts(results[outputs.CONDITIONS])
    else:
        told, named = "stopped: " + CAUSES[cause & CAUSE_CODE], doubts(cause)
    if named:
        told += " (" + named + ")"
    return told + ", " + str(results[outputs.INTEGRAL_PERCENT]) + " %, settings " + digest[:DIGEST_SHOWN]


def changed(shown: list[int], results: list[int]) -> bool:
    """Say whether the line would read otherwise than for the words `shown`, and keep those of now."""
    now_doubts = results[outputs.CONDITIONS] & signals.DOUBTS
    same = shown[0] == results[outputs.STOP_CAUSE] and shown[1] == results[outputs.ALARM]
    same = same and shown[2] == results[outputs.INTEGRAL_PERCENT] and shown[3] == now_doubts
    shown[0] = results[outputs.STOP_CAUSE]
    shown[1] = results[outputs.ALARM]
    shown[2] = results[outputs.INTEGRAL_PERCENT]
    shown[3] = now_doubts
    return not same
