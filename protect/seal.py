"""The seal: state and settings in RAM are still the words that were left there, or the machine stops.

Between two steps nothing of this logic runs, but a bit may flip or another part of
the program may write astray. A start grace that has grown to a week, or a cut-out that
has become 0, would let a machine run on without oil. So the caller keeps four
words more, two of the state and two of the settings, and takes `sealed_step`: it
checks both seals before the step and renews that of the state after it.

The seal of words is two sums over their halves of 16 bits h_1, h_2, .. (the low half
of a word first), neither with a remainder taken:

    plain sum      1 + h_1 + h_2 + h_3 + ..
    weighted sum   1 + h_1 + 2 h_2 + 3 h_3 + ..

*Found is every change that lies within two halves*: one word changed in any way, two
bits flipped anywhere. For halves a and b changed by d_a and d_b, a plain sum that stays
says d_b = -d_a; the weighted sum then moves by (a - b) d_a, which is not 0. Both sums
begin with 1, so that words and seal filled with one and the same word, as a stray
fill or an erase does, never agree: with every half 0 the plain sum is 1, and with
any other the weighted sum is the larger one. Not found are changes of three and more
halves that cancel out in both sums, older words put back together with their older seal,
and what happens within the pass itself.

What follows from a broken seal is a stop. A broken state comes up as without a good
saved record: locked out, with the reset taken for held, so that none in
that very step releases it; then it is sealed, and a person who has looked at the machine
may reset. With broken settings nothing can be worked out: no step is taken, the state is locked
out and not sealed, and it stays so in every pass whatever the reset does, until
the settings are loaded and sealed anew. A seal that has itself been changed is a broken one.

No sum reaches 2^30: of 29 words the plain one is at most 1 + 58 * 65535 = 3801031, the
weighted one 1 + (1 + 2 + .. + 58) * 65535 = 112130386.
"""

from protect.outputs import ALARM, OUTPUTS_SIZE
from protect.protection import step
from protect.ranges import SETTINGS_SIZE
from protect.saved import come_up_locked_out
from protect.state import LOCKED_OUT, STATE, STATE_SIZE

# Places in the seals array, where the plain sum stands; the weighted one is in the next.
STATE_AT = 0
SETTINGS_AT = 2
SEALS_SIZE = 4

BEGIN = 1  # of both sums
HALF = 0xFFFF


def plain_sum(words: list[int], count: int) -> int:
    """Return the plain sum over the halves of so many words."""
    total = BEGIN
    for place in range(count):
        word = words[place]
        total += (word & HALF) + ((word >> 16) & HALF)
    return total


def weighted_sum(words: list[int], count: int) -> int:
    """Return the weighted sum over the halves of so many words."""
    total = BEGIN
    weight = 1
    for place in range(count):
        word = words[place]
        total += weight * (word & HALF) + (weight + 1) * ((word >> 16) & HALF)
        weight += 2
    return total


def seal(words: list[int], count: int, seals: list[int], at: int) -> None:
    """Put the seal of so many words at a place of the seals."""
    seals[at] = plain_sum(words, count)
    seals[at + 1] = weighted_sum(words, count)


def holds(words: list[int], count: int, seals: list[int], at: int) -> bool:
    """Tell whether the seal at a place is that of these words."""
    return seals[at] == plain_sum(words, count) and seals[at + 1] == weighted_sum(words, count)


def seal_state(state: list[int], seals: list[int]) -> None:
    """Seal the state as it is: after power-up, and whenever anything but a sealed step has changed it."""
    seal(state, STATE_SIZE, seals, STATE_AT)


def seal_settings(settings: list[int], seals: list[int]) -> None:
    """Seal the settings as they are: once, right after they were checked or exported."""
    seal(settings, SETTINGS_SIZE, seals, SETTINGS_AT)


def seals_hold(state: list[int], settings: list[int], seals: list[int]) -> bool:
    """Tell whether both seals hold; a state is saved only then."""
    return holds(settings, SETTINGS_SIZE, seals, SETTINGS_AT) and holds(state, STATE_SIZE, seals, STATE_AT)


def withhold(outputs: list[int]) -> None:
    """Fill the outputs of a pass without a step: no run permission, and the alarm."""
    for place in range(OUTPUTS_SIZE):
        outputs[place] = 0
    outputs[ALARM] = 1


def sealed_step(state: list[int], settings: list[int], inputs: list[int], outputs: list[int], seals: list[int]) -> None:
    """Take a step as `protection.step` does, if state and settings are what was sealed; else stop the machine."""
    if not holds(settings, SETTINGS_SIZE, seals, SETTINGS_AT):
        state[STATE] = LOCKED_OUT
        withhold(outputs)
        return
    if not holds(state, STATE_SIZE, seals, STATE_AT):
        come_up_locked_out(state, settings)
    step(state, settings, inputs, outputs)
    seal_state(state, seals)
