"""The cause-and-effect table of `protect` in words, row by row."""

from dataclasses import dataclass

from protect import conditions, table
from replay.engine import STATES
from replay.ground.wording import words

EFFECTS = {
    table.NONE: "",
    table.STOP_ON_OIL: "stop, cause oil; counted as a trip",
    table.STOP_ON_RELOAD: "stop, cause reload; counted as a trip",
    table.STOP_ON_SENSOR: "stop, cause sensor; not counted",
    table.FORGET_TRIPS: "reset counted, trips forgotten",
    table.REFUSE_RESET: "reset refused, cause resets",
}


@dataclass(frozen=True)
class RuleRow:
    """One row: its number from 1 in the order in which rows are tried, and its parts in words."""

    number: int
    state: int
    next_state: int
    effect: int
    when: str

    @property
    def outcome(self) -> str:
        """Return the effect in words."""
        return EFFECTS[self.effect]


def rule_rows() -> list[RuleRow]:
    """Return all rows of the table."""
    return [
        RuleRow(number, state, after, effect, when(mask, value))
        for number, (state, mask, value, after, effect) in enumerate(table.TABLE, start=1)
    ]


def when(mask: int, value: int) -> str:
    """Return the conditions of a row in words: "low, not in grace"."""
    bits = [(name, 1 << place) for place, name in enumerate(conditions.NAMES) if mask & 1 << place]
    wanted = [name for name, bit in bits if value & bit] + [f"not {name}" for name, bit in bits if not value & bit]
    return ", ".join(words(name) for name in wanted)


def state_words(number: int) -> str:
    """Return the name of a state."""
    return words(STATES[number])
