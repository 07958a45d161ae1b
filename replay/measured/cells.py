"""Cells as numbers and as status: what is a number, what is no reading, what is on and what off.

The fast way lets the CSV reader convert; the exact way goes through text. Both give the same numbers: the
fast way only takes cells that the exact way would take, and gives up the block for any other.
"""

import contextlib
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from replay.ground.refusal import Refusal, refusal
from replay.measured.block import BAD, BETWEEN, GOOD, UNKNOWN, UNMARKED
from replay.measured.marks import MINUS, SPACES, Marks
from replay.measured.profile import Flag
from replay.measured.unit_text import Unit

# Cells that are no reading in any file; all other words are named as sentinels by the profile.
NO_READING_WORDS = ("", "nan", "-nan", "null", "none", "n/a", "#n/a", "na", "<na>", "1.#qnan", "-1.#ind", "1.#inf")
ON = {
    *("1", "true", "t", "yes", "y", "on", "run", "running", "start", "started"),
    *("ein", "an", "ja", "läuft", "laeuft", "betrieb", "wahr", "marche", "en marche", "oui", "vrai", "marcha"),
    *("en marcha", "encendido", "sí", "si", "verdadero", "marcia", "in marcia", "acceso", "vero", "aan", "in bedrijf"),
    *("draait", "waar", "praca", "pracuje", "zał", "załączony", "włączony", "tak", "prawda", "ligado", "em marcha"),
    *("sim", "verdadeiro", "drift", "i drift", "på", "till", "sant", "kører", "sand"),
}
OFF = {
    *("0", "false", "f", "no", "n", "off", "stop", "stopped", "standby", "halt"),
    *("aus", "nein", "steht", "stillstand", "falsch", "arrêt", "arret", "arrêté", "non", "faux", "paro", "parado"),
    *("apagado", "falso", "fermo", "spento", "uit", "nee", "stilstand", "onwaar", "postój", "stój", "wył"),
    *("wyłączony", "nie", "fałsz", "desligado", "não", "stopp", "stoppad", "från", "falskt", "stoppet", "fra", "falsk"),
}
SUSPECTS = (
    *(-1.0, -99.0, -99.9, -999.0, -999.9, -999.99, -9999.0, -9999.9, -99999.0, -32768.0, -32767.0, -3276.8, -1e30),
    *(999.0, 999.9, 9999.0, 9999.9, 99999.0, 999999.0, 32767.0, 3276.7, 65535.0, 6553.5, 655.35, 1e30),
)  # numbers that loggers write for no reading (common practice, no source)

Numbers = NDArray[Any]  # float64[n] with NaN for no reading, or int64[n]


class BadCell(ValueError):  # noqa: N818 - a finding of the reader
    """A cell that is no number, no sentinel and no known word: its row in the block, and what stands there."""

    def __init__(self, row: int, value: str, rule: str, accepted: str) -> None:
        super().__init__(rule)
        self.row, self.value, self.rule, self.accepted = row, value, rule, accepted


@contextlib.contextmanager
def cells_of(path: Path, name: str, place: Callable[[int], str]) -> Iterator[None]:
    """Refuse a bad cell of a column; place: where a row of the block stands in the file."""
    try:
        yield
    except BadCell as bad:
        where = ", ".join(filter(None, (place(bad.row), name)))
        raise WordRefused(str(refusal(path, where, bad.rule, bad.accepted, bad.value))) from None


class WordRefused(Refusal):
    """A refusal of a cell that is a word; the file may hold more of them."""


class Giveup(Exception):  # noqa: N818 - the exact way takes over
    """The fast way met something that only the exact way can judge."""


def null_words(sentinels: tuple[str | float, ...]) -> list[str]:
    """Return the words without case that are no reading."""
    return [*NO_READING_WORDS, *(word.casefold() for word in sentinels if isinstance(word, str))]


def fast_nulls(sentinels: tuple[str | float, ...]) -> list[str]:
    """Return the same words in the cases in which they are usually written."""
    words = [*NO_READING_WORDS, *(word for word in sentinels if isinstance(word, str))]
    return list(
        dict.fromkeys(spelled for w in words for spelled in (w, w.lower(), w.upper(), w.capitalize(), w.title()))
    )


def typed_numbers(column: Any, sentinels: tuple[str | float, ...]) -> Numbers:
    """Return an arrow column of floats as float64[n], one of whole numbers as int64[n] if none is missing.

    Raises Giveup for what is infinite or was text for NaN.
    """
    numbers: Numbers = column.to_numpy(zero_copy_only=False)
    if numbers.dtype == np.int64 or not len(numbers) or np.isfinite(numbers.sum()):
        return without_sentinels(numbers, sentinels)
    finite = np.isfinite(numbers)
    if not finite.all() and int(finite.sum()) + column.null_count != len(numbers):
        raise Giveup
    return without_sentinels(numbers, sentinels)


def without_sentinels(numbers: Numbers, sentinels: tuple[str | float, ...]) -> Numbers:
    """Put NaN where a number is a sentinel."""
    for sentinel in sentinels:
        if isinstance(sentinel, float):
            found = numbers == sentinel
            if found.any():
                numbers = np.where(found, np.nan, numbers)
    return numbers


def number_pattern(marks: Marks) -> str:
    """Return the pattern of a number in these marks, whole groups of three where thousands are marked."""
    decimal, sign, exponent = re.escape(marks.decimal), rf"[-+{MINUS}]?", r"(?:[eE][-+]?\d+)?"
    plain = rf"(?:\d+(?:{decimal}\d*)?|{decimal}\d+)"
    if not marks.thousands:
        return rf"^{sign}{plain}{exponent}$"
    grouped = rf"\d{{1,3}}(?:{re.escape(marks.thousands)}\d{{3}})+(?:{decimal}\d*)?"
    return rf"^{sign}(?:{plain}|{grouped}){exponent}$"


def text_numbers(column: Any, marks: Marks, sentinels: tuple[str | float, ...]) -> NDArray[np.float64]:
    """Return an arrow column of text as float64[n]. Raises BadCell at the first cell that is none."""
    import pyarrow as pa
    import pyarrow.compute as pc

    text = pc.utf8_trim_whitespace(column)
    nothing = pc.is_in(pc.utf8_lower(text), value_set=pa.array(null_words(sentinels)))
    good = np.asarray(pc.or_(nothing, pc.match_substring_regex(text, number_pattern(marks))))
    if not good.all():
        row = int(np.argmin(good))
        accepted = "a number, an empty cell, or a word named in [file] sentinels"
        raise BadCell(row, text[row].as_py(), _not_a_number(text[row].as_py(), marks), accepted)
    numbers = _plain(pc.if_else(nothing, None, text), marks).cast(pa.float64()).to_numpy(zero_copy_only=False)
    if np.isinf(numbers).any():
        row = int(np.argmax(np.isinf(numbers)))
        raise BadCell(row, text[row].as_py(), "too large a number", "a number that a sensor can give")
    return without_sentinels(numbers, sentinels)


def without_unit(column: Any, unit: str) -> Any:
    """Return an arrow column of text without the unit behind its numbers."""
    import pyarrow.compute as pc

    return pc.replace_substring_regex(column, rf"\s*{re.escape(unit)}\s*$", "") if unit else column


def _plain(text: Any, marks: Marks) -> Any:
    """Return numbers in text as the converter takes them: a point, no other marks, no plus."""
    import pyarrow.compute as pc

    if marks.thousands:
        text = pc.replace_substring(text, marks.thousands, "")
    if marks.decimal != ".":
        text = pc.replace_substring(text, marks.decimal, ".")
    if pc.any(pc.match_substring(text, MINUS)).as_py():
        text = pc.replace_substring(text, MINUS, "-")
    if pc.any(pc.starts_with(text, "+")).as_py():
        text = pc.replace_substring_regex(text, r"^\+([\d.])", r"\1")  # a second sign stays, and is refused
    return text


def _not_a_number(cell: str, marks: Marks) -> str:
    thousands = f' and thousands "{marks.thousands}"' if marks.thousands else ""
    if re.fullmatch(rf"[-+{MINUS}]?[\d.,{SPACES}]+", cell):
        return f'not a number with decimal mark "{marks.decimal}"{thousands}'
    return "not a number"


def words_of(flag: Flag) -> tuple[set[str], set[str]]:
    """Return the words without case that mean on, and those that mean off."""
    on, off = ({word.casefold() for word in words} for words in (flag.on, flag.off))
    return (on or ON - off), (off or OFF - on)


def words_in(column: Any, marks: Marks, sentinels: tuple[str | float, ...], flag: Flag | None) -> list[str]:
    """Return the cells of a text column that are no number (of a flag: neither on nor off) and no known word."""
    found = []
    known, pattern = set(null_words(sentinels)), re.compile(number_pattern(marks))
    for word in column.dictionary_encode().dictionary.to_pylist():
        plain = word.strip()
        if (flag is not None and _status(plain, flag, sentinels) == NEITHER) or (
            flag is None and plain.casefold() not in known and not pattern.match(plain)
        ):
            found.append(plain)
    return found


def status_of_text(column: Any, flag: Flag, sentinels: tuple[str | float, ...]) -> NDArray[np.int8]:
    """Return a column of words as int8[n]: 1, 0, UNKNOWN for no reading. Raises BadCell for another word."""
    coded = column.dictionary_encode()
    codes = [_status(word, flag, sentinels) for word in coded.dictionary.to_pylist()]
    places = coded.indices.to_numpy()
    status = np.array(codes or [UNKNOWN], dtype=np.int64)[places] if len(places) else np.zeros(0, dtype=np.int64)
    return _checked(status, flag, lambda row: str(column[row]))


def good_of(column: Any, good: tuple[str, ...]) -> NDArray[np.int8]:
    """Return an arrow column of marks of quality as int8[n]: GOOD, BAD, or UNMARKED where the cell is empty."""
    coded = column.dictionary_encode()
    words = {word.casefold() for word in good}
    codes = [_mark(str(word), words) for word in coded.dictionary.to_pylist()]
    if not len(column):
        return np.zeros(0, dtype=np.int8)
    places = coded.indices.fill_null(len(codes)).to_numpy(zero_copy_only=False)
    return np.asarray(np.array([*codes, UNMARKED], dtype=np.int8)[places])


def names_of(column: Any) -> NDArray[np.str_]:
    """Return an arrow column of names as str[n], "" where there is none."""
    coded = column.fill_null("").dictionary_encode()
    words = np.array([*(str(word).strip() for word in coded.dictionary.to_pylist()), ""], dtype=np.str_)
    return np.asarray(words[coded.indices.to_numpy()])


def _mark(word: str, good: set[str]) -> int:
    plain = _plain_word(word)
    return UNMARKED if not plain else GOOD if plain in good else BAD


def _plain_word(word: str) -> str:
    """Return a word without case, and a whole number without its zeros behind the point."""
    plain = word.strip().casefold()
    return f"{float(plain.replace(',', '.')):.12g}" if re.fullmatch(r"\d+[.,]\d*", plain) else plain


def status_of_numbers(
    numbers: Numbers, flag: Flag, sentinels: tuple[str | float, ...], unit: Unit | None
) -> NDArray[np.int8]:
    """Return a column of numbers as status: words such as 1 and 0, a mean of them, or (in a unit) by two levels."""
    known = ~np.isnan(numbers)
    if unit is not None:
        scaled = numbers * unit.scale
        stands = np.where(scaled < flag.below, 0, BETWEEN) if flag.below < flag.above else 0
        return np.where(known, np.where(scaled > flag.above, 1, stands), UNKNOWN).astype(np.int8)
    if flag.mean_above is not None:
        return _mean(numbers, known, flag.mean_above)
    if not flag.on and not flag.off and bool((known & ((numbers == 0) | (numbers == 1))).all()):
        return numbers.astype(np.int8)
    values, places = np.unique(numbers, return_inverse=True)
    codes = [UNKNOWN if np.isnan(value) else _status(f"{value:.12g}", flag, sentinels) for value in values]
    return _checked(np.array(codes, dtype=np.int64)[places], flag, lambda row: f"{numbers[row]:.12g}")


def _mean(numbers: Numbers, known: NDArray[np.bool_], above: float) -> NDArray[np.int8]:
    """Return the shares of rows in which the machine ran as status. Raises BadCell for what is no share."""
    with np.errstate(invalid="ignore"):
        wrong = known & ((numbers < 0) | (numbers > 1))
    if wrong.any():
        row = int(np.argmax(wrong))
        raise BadCell(row, f"{numbers[row]:.12g}", "no share of the time", "0 to 1, as mean_above says")
    return np.where(known, numbers > above, UNKNOWN).astype(np.int8)


NEITHER = -2


def _status(word: str, flag: Flag, sentinels: tuple[str | float, ...]) -> int:
    on, off = words_of(flag)
    plain = _plain_word(word)
    if plain in on:
        return 1
    if plain in off:
        return 0
    if plain in null_words(sentinels) or is_sentinel_number(plain, sentinels):
        return UNKNOWN
    return NEITHER


def _is_share(cell: str) -> bool:
    try:
        return 0 < float(cell.replace(",", ".")) < 1
    except ValueError:
        return False


def is_sentinel_number(word: str, sentinels: tuple[str | float, ...]) -> bool:
    """Say whether a cell is one of these numbers."""
    try:
        return float(word) in sentinels
    except ValueError:
        return False


def _checked(status: NDArray[np.int64], flag: Flag, cell: Callable[[int], str]) -> NDArray[np.int8]:
    wrong = status == NEITHER
    if wrong.any():
        row = int(np.argmax(wrong))
        accepted = f"1 or 0, on or off, or [{flag.signal}] on = [...] and off = [...] that name it"
        if _is_share(cell(row)):
            accepted += "; or mean_above = 0, if it is the share of the row in which the machine ran"
        raise BadCell(row, cell(row), "neither on nor off", accepted)
    return status.astype(np.int8)
