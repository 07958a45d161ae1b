"""What reviewers say of a trace, side by side, and the label that comes of it.

    [[trace]]
    undecided = true               # in force: what the words below come to
    labels = [                     # the latest label of each reviewer, in the order they were given
        { by = "A. Smith", on = 2026-11-25, must_trip = { earliest_s = 300.0, deadline_s = 480.0 } },
        { by = "J. Doe", on = 2026-11-26, ride_through = true, inspection = "opened: like new" },
    ]

**Agreement**: labels of one kind, and as many windows that share AGREE or more of what each pair covers. Then what they
have in common is in force: a stop in it is right by both. Reviewers who differ leave a trace undecided, until one of
them says otherwise, or a word that settles it (`settles = true`) is given: from then on it and what comes after it
counts. A label without a name on it (of a file, of a synthesis) is nobody's word, and gives way to the first.

The note of the trace has a line for every word ever given: what a reviewer said before stands there.
"""

import datetime as dt
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from replay.ground.refusal import refusal
from replay.ground.shape import Key, Keys, UnfitError, name, switch
from replay.library.label import LABEL_KEYS, Label, common_window, label_table, overlap, read_label, words_of

AGREE = 0.5  # assumed: of the time that either of two windows covers, the share that both do

# What a label rests on.
INSPECTION, TWO, ONE, PHYSICS, NOBODY = "inspection", "two reviewers", "one reviewer", "physics", "nobody named"
BASES = (INSPECTION, TWO, ONE, PHYSICS, NOBODY)


@dataclass(frozen=True)
class Word:
    """The label that one reviewer gives, and when.

    inspection: what was found when the machine was opened, "" where nobody says; settles: a disagreement ends with it.
    """

    by: str
    on: dt.date
    label: Label
    inspection: str = ""
    settles: bool = False

    def as_table(self) -> dict[str, Any]:
        """Return the word as it stands in library.toml."""
        told = {"inspection": self.inspection, "settles": self.settles}
        stated = {key: said for key, said in told.items() if said}
        return {"by": self.by, "on": self.on, **label_table(self.label), **stated}


def _day(value: Any) -> dt.date:
    if isinstance(value, dt.datetime) or not isinstance(value, dt.date):
        raise UnfitError("no date")
    return value


WORDS = Keys(
    {
        "by": Key(name, "who says so, in one line"),
        "on": Key(_day, "a date such as 2026-11-25"),
        **LABEL_KEYS,
        "inspection": Key(name, "what was found when the machine was opened, in one line", needed=False),
        "settles": Key(switch, "true where it ends a disagreement", needed=False),
    },
    needed=False,
    many=True,
)


def read_words(path: Path, where: str, tables: Sequence[dict[str, Any]], label: Label) -> tuple[Word, ...]:
    """Return the words of a trace; label: the one in force. Raises Refusal where they come to another."""
    words: list[Word] = []
    for place, table in enumerate(tables, start=1):
        at = f"{where}, labels {place}"
        word = Word(label=read_label(path, at, table), **table)
        if any(word.by == other.by for other in words):
            raise refusal(path, f"{at}, by", "has a label here already", "the latest label of each reviewer", word.by)
        words.append(word)
    if words and (told := in_force(words)) != label:
        rule = f"its label is {words_of(label)}, but its reviewers' labels add up to: {words_of(told)}"
        raise refusal(path, where, rule, "labels given with lubetrip label, which keeps both")
    return tuple(words)


def standing(words: Sequence[Word]) -> Sequence[Word]:
    """Return the words that count: those from the last that settles on."""
    settled = max((place for place, word in enumerate(words) if word.settles), default=0)
    return words[settled:]


def agree(one: Label, other: Label) -> bool:
    """Say whether two labels are one for all that is judged by them."""
    return overlap(one, other) >= AGREE


def differ(words: Sequence[Word]) -> bool:
    """Say whether reviewers who count differ."""
    return not all(agree(one.label, other.label) for one, other in itertools.combinations(standing(words), 2))


def in_force(words: Sequence[Word]) -> Label:
    """Return the label that words come to; there has to be one or more.

    Windows that agree two by two all have a moment in common (Helly's theorem on a line).
    """
    if differ(words):
        return "undecided"
    label, *others = (word.label for word in standing(words))
    if isinstance(label, str):
        return label
    several = zip(label, *(other for other in others if not isinstance(other, str)), strict=True)
    return tuple(map(common_window, several))


def replaced(words: Sequence[Word], word: Word) -> tuple[Word, ...]:
    """Return words with one more; what its reviewer said before gives way to it."""
    return (*(other for other in words if other.by != word.by), word)


def basis(words: Sequence[Word], label: Label, origin: str) -> str:
    """Return which of BASES a label in force rests on; origin: of its trace."""
    behind = [word for word in words if agree(word.label, label)]
    if any(word.inspection for word in behind):
        return INSPECTION
    if behind:
        return TWO if len({word.by for word in behind}) > 1 else ONE
    return PHYSICS if origin.startswith("synthetic:") else NOBODY
