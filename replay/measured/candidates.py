"""Which column may be which signal, by its whole name, its unit and its cells; and of every other, why it is not.

One column that fits plainly is taken. Several that fit, or one that fits by half, are a question: nothing here decides
between two readings of a file.
"""

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from replay.ground.refusal import HIDDEN
from replay.measured import naming
from replay.measured.cells import OFF, ON
from replay.measured.look import Seen
from replay.measured.naming import Named, read_name
from replay.measured.profile_keys import PRESSURES
from replay.measured.unit_text import CURRENT, KINDS, PRESSURE, SPEED, TEMPERATURE, TIME

FEW_WORDS = 8  # of a status
NEEDED = ("oil_pressure", "suction_pressure", "running")
ORDER = ("oil_pressure", "crankcase_pressure", "suction_pressure", "oil_temperature", "speed", "running", "current")
VACUUM = {"vacuum", "vac", "vakuum", "vide", "vacío", "vacio", "vácuo", "vacuo", "vuoto", "próżnia"}
PLAINLY, BY_HALF = "plainly", "by half"
# What a logger kept of the readings between two rows.
KEPT = {
    "the least between two rows, which shows a short spell": {"min", "minimum", "least", "lowest"},
    "a mean between two rows, which hides a short spell": {"avg", "average", "mean", "mittel", "mittelwert", "moyenne"},
    "the most between two rows, which hides a spell": {"max", "maximum", "most", "highest"},
}


@dataclass(frozen=True)
class Fit:
    """How a column fits a signal: plainly, by half, or "" (not at all); and why it does so no better."""

    how: str
    why: str = ""


@dataclass
class Chosen:
    """The column of each signal; those that leave a choice, each with why; all others, each with why it was left.

    machines: where one file holds several, the columns of each by its name; `taken` then holds those of the first.
    """

    taken: dict[str, Seen] = field(default_factory=dict)
    asked: dict[str, list[tuple[Seen, str]]] = field(default_factory=dict)
    left: list[tuple[Seen, str]] = field(default_factory=list)
    machines: dict[str, dict[str, Seen]] = field(default_factory=dict)


def choose(columns: Iterable[Seen]) -> Chosen:
    """Return which of these columns (the time's not among them) is which signal."""
    columns = list(columns)
    fits = {(c.place, signal): fit(c, signal) for c in columns for signal in ORDER}
    known = _words_of_the_machine(columns, fits)
    plain: dict[str, list[Seen]] = {}
    half: dict[str, list[tuple[Seen, str]]] = {}
    for signal in ORDER:
        for column in columns:
            found = fits[column.place, signal]
            strange = [word for word in read_name(column.name).strange if word not in known]
            if found.how == PLAINLY and not strange:
                plain.setdefault(signal, []).append(column)
            elif found.how:
                why = found.why or f'"{strange[0]}" may name something else'
                half.setdefault(signal, []).append((column, why))
    chosen = Chosen(machines=machines_of(plain))
    if chosen.machines:
        chosen.taken = dict(next(iter(chosen.machines.values())))
    for signal in () if chosen.machines else ORDER:
        _decide(chosen, signal, plain.get(signal, []), half.get(signal, []))
    _one_running(chosen)
    used = {c.place for c in chosen.taken.values()} | {c.place for some in chosen.asked.values() for c, _ in some}
    used |= {c.place for machine in chosen.machines.values() for c in machine.values()}
    used |= {c.place for c, _ in chosen.left}
    chosen.left += [(c, _why_left(c, fits)) for c in columns if c.place not in used]
    return chosen


def _decide(chosen: Chosen, signal: str, plain: list[Seen], half: list[tuple[Seen, str]]) -> None:
    """Take the one column that fits plainly; ask where there are several, or only such as fit by half."""
    half = [(c, why) for c, why in half if c.place not in {taken.place for taken in chosen.taken.values()}]
    if len(plain) == 1:
        chosen.taken[signal] = plain[0]
    elif plain:
        chosen.asked[signal] = [(column, _kept(read_name(column.name)) or _vacuum(column, plain)) for column in plain]
    elif half and signal in (*NEEDED, "current", "crankcase_pressure"):
        chosen.asked[signal] = half
    elif signal in ("oil_pressure", "suction_pressure"):
        chosen.asked[signal] = []


def _kept(name: Named) -> str:
    """Say what of the readings between two rows a column holds, "" where its name does not say."""
    return next((told for told, words in KEPT.items() if words & set(name.words)), "")


def _vacuum(column: Seen, some: list[Seen]) -> str:
    """Say of one of several columns that it holds the vacuum alone, or what lies above it; else that it fits too."""
    alone = [one for one in some if VACUUM & set(read_name(one.name).words)]
    if not alone or len(alone) == len(some):
        return "fits as well"
    if column in alone:
        return "the vacuum alone: write it below zero into the other column, and give that one below_zero"
    return "does it stop at zero, with the vacuum in the other column? Then nothing of it shows here"


def _one_running(chosen: Chosen) -> None:
    """Let a status serve where there is one; else a current or a speed does."""
    if "running" in chosen.taken:
        for current in [chosen.taken.pop("current", None), *(c for c, _ in chosen.asked.pop("current", []))]:
            if current is not None:
                chosen.left.append((current, "a current; the running status is a column of its own"))
    elif "current" in chosen.taken and "running" in chosen.asked:
        chosen.asked["running"].append((chosen.taken.pop("current"), "its current, with current_above"))
    elif "speed" in chosen.taken and "running" in chosen.asked:
        chosen.asked["running"].append((chosen.taken["speed"], "its speed, with speed_above"))


def _words_of_the_machine(columns: list[Seen], fits: dict[tuple[int, str], Fit]) -> set[str]:
    """Return words nobody knows that stand with several signals, as a machine's or a plant's name does."""
    signals: dict[str, set[str]] = {}
    for column in columns:
        for word in read_name(column.name).strange:
            signals.setdefault(word, set()).update(signal for signal in ORDER if fits[column.place, signal].how)
    return {word for word, found in signals.items() if {"oil_pressure", "suction_pressure"} <= found}


def fit(column: Seen, signal: str) -> Fit:
    """Return how one column fits one signal."""
    name = read_name(column.name)
    if signal == "running":
        return _status(column, name)
    kind = {"oil_temperature": TEMPERATURE, "speed": SPEED, "current": CURRENT}.get(signal, PRESSURE)
    about = _ABOUT[signal](name, bool(column.unit_of(kind)))
    raw = _raw(column, signal, name)
    own = column.unit_of(kind)
    others = (column.unit_of(other) for other in KINDS if other not in (kind, TIME, raw))
    if not about.how or any(other and other not in own for other in others):  # the a of bar(a) is no ampere
        return Fit("", about.why)
    why = _why_not(column, name, signal)
    if why:
        return Fit("", why)
    kept = _kept(name) if signal in PRESSURES else ""
    return Fit(BY_HALF, kept) if "the most" in kept else about


def _raw(column: Seen, signal: str, name: Named) -> str:
    """Return what else the numbers of a pressure may be of: the mA of its sensor, or a saturated temperature."""
    if signal in PRESSURES and column.unit_of(CURRENT) == "mA":
        return CURRENT
    return TEMPERATURE if signal == "suction_pressure" and _is_saturated(name) else ""


def _is_saturated(name: Named) -> bool:
    return name.says(naming.SATURATED) or name.says(naming.EVAPORATING)


def _why_not(column: Seen, name: Named, signal: str) -> str:
    """Return why a column whose name fits is not the signal all the same, or ""."""
    if name.elsewhere and not (signal == "current" and name.elsewhere[1] == "counter"):
        return told(name.elsewhere)
    if column.filled and 2 * len(column.told) < len(column.filled):
        return "holds words, not numbers"
    if column.told and set(column.told) <= {0.0, 1.0} and len(column.told) > 2:  # noqa: PLR2004 - a few rows tell nothing
        return "holds only 0 and 1"
    return ""


def told(elsewhere: tuple[str, str]) -> str:
    """Say what else a name is about."""
    word, what = elsewhere
    return f'"{word}" names {"an" if what[0] in "aeio" else "a"} {what}' if "," not in what else f'"{word}": {what}'


def _oil_pressure(name: Named, unit: bool) -> Fit:  # noqa: FBT001 - of a table of functions
    if not name.says(naming.OIL) or (name.says(TEMPERATURE) and not unit and not name.says(PRESSURE)):
        return Fit("")
    if name.says(naming.CRANKCASE) and not name.says(naming.DIFFERENCE):
        return Fit(BY_HALF, "oil pressure, or pressure in the crankcase?")
    if name.says(naming.SUCTION):
        return Fit(BY_HALF, "oil pressure, above suction pressure, or before the pump?")
    return Fit(BY_HALF, '"low" may mean a limit or an alarm') if name.says(naming.LOW) else Fit(PLAINLY)


def _suction_pressure(name: Named, unit: bool) -> Fit:  # noqa: FBT001
    if name.says(naming.OIL) or name.says(naming.CRANKCASE):
        return Fit("")
    if _is_saturated(name) and not unit and not name.says(PRESSURE):
        return Fit(BY_HALF, 'a saturated temperature, with refrigerant = "R404A"')
    if name.says(TEMPERATURE) and not unit:
        return Fit("")
    side = name.says(naming.SUCTION) or name.says(naming.LOW, PRESSURE)
    if not side and not (name.says(naming.EVAPORATING) and (unit or name.says(PRESSURE))):
        return Fit("")
    if name.says(naming.DIFFERENCE):
        return Fit("", "a difference of pressures")
    return Fit(PLAINLY) if side else Fit(BY_HALF, "evaporating pressure: suction lies below it by the line's loss")


def _crankcase_pressure(name: Named, unit: bool) -> Fit:  # noqa: FBT001
    if not name.says(naming.CRANKCASE) or not (unit or name.says(PRESSURE)) or name.says(naming.DIFFERENCE):
        return Fit("")
    if name.says(TEMPERATURE) and not unit:
        return Fit("")
    return Fit(BY_HALF, "oil pressure, or pressure in the crankcase?") if name.says(naming.OIL) else Fit(PLAINLY)


def _oil_temperature(name: Named, unit: bool) -> Fit:  # noqa: FBT001
    return Fit(PLAINLY) if name.says(naming.OIL) and (unit or name.says(TEMPERATURE)) else Fit("")


def _speed(name: Named, unit: bool) -> Fit:  # noqa: FBT001
    return Fit(PLAINLY) if unit and not name.says(naming.PUMP) else Fit("")


def _current(name: Named, unit: bool) -> Fit:  # noqa: FBT001
    return Fit(PLAINLY) if (unit or name.says(CURRENT)) and not name.says(PRESSURE) else Fit("")


_ABOUT = {
    "oil_pressure": _oil_pressure,
    "suction_pressure": _suction_pressure,
    "crankcase_pressure": _crankcase_pressure,
    "oil_temperature": _oil_temperature,
    "speed": _speed,
    "current": _current,
}


def _status(column: Seen, name: Named) -> Fit:
    """Return how a column fits the running status."""
    words = {cell.casefold() for cell in column.filled}
    on_off = bool(words) and words <= {*ON, *OFF, "1.0", "0.0"}
    about = name.says(naming.RUNNING) or name.says(naming.STATE)
    if not about and not (on_off and name.says(naming.MACHINE)):
        return Fit("")
    why = _why_no_status(column, name, words)
    if why:
        return Fit("", why)
    if name.says(naming.RUNNING) or name.says(naming.STATE, naming.MACHINE):
        return Fit(PLAINLY)
    word = name.means.get(naming.STATE, column.name)
    return Fit(BY_HALF, f'"{word}" may be the state of anything')


def _why_no_status(column: Seen, name: Named, words: set[str]) -> str:
    """Return why a column so named is not the running status of the compressor, or ""."""
    if name.elsewhere:
        return told(name.elsewhere)
    if not words:
        return "is empty"
    if any(column.unit_of(kind) for kind in KINDS if kind != TIME):
        return "has a unit, so it is no status"
    if len(words) > FEW_WORDS and not column.shares:
        return "holds readings, not a status" if column.told else "holds too many words for a status"
    other = name.says(naming.OIL) or name.says(naming.SUCTION) or name.says(naming.PUMP)
    return "not the status of the compressor itself" if other else ""


def _why_left(column: Seen, fits: dict[tuple[int, str], Fit]) -> str:
    """Return why a column is none of the signals."""
    name = read_name(column.name)
    reasons = [fits[column.place, signal].why for signal in ORDER if fits[column.place, signal].why]
    if reasons:
        return reasons[0]
    if name.elsewhere:
        return told(name.elsewhere)
    if not column.filled:
        return "is empty"
    fitting = [signal for signal in ORDER if fits[column.place, signal].how]
    if fitting:
        strange = f': "{name.strange[0]}" is no word known here' if name.strange else ""
        return f"fits {fitting[0].replace('_', ' ')} less plainly than what is taken{strange}"
    return "no word of its name stands for a signal"


def machines_of(plain: dict[str, list[Seen]]) -> dict[str, dict[str, Seen]]:
    """Return the columns of each machine by its name, where a file holds several; empty where it does not.

    Names of the same signal then differ only by what names the machine: a number, a letter, a name. A signal of one
    column is shared by all, as the suction of a rack is; a running status or a current is not.
    """
    marked = {signal: _marks(some) for signal, some in plain.items() if len(some) > 1}
    oil = marked.get("oil_pressure")
    if not oil or not any(set(oil) == set(marked.get(of) or ()) for of in ("running", "current")):
        return {}
    machines: dict[str, dict[str, Seen]] = {_machine(mark, oil[mark]): {} for mark in oil}
    for signal, some in plain.items():
        if len(some) == 1 and signal not in ("running", "current"):
            for columns in machines.values():
                columns[signal] = some[0]
        elif (found := marked.get(signal)) and set(found) == set(oil):
            for name, mark in zip(machines, oil, strict=True):
                machines[name][signal] = found[mark]
    for columns in machines.values():
        if "running" in columns:
            columns.pop("current", None)
    return machines if all("suction_pressure" in columns for columns in machines.values()) else {}


def _marks(columns: list[Seen]) -> dict[tuple[str, ...], Seen] | None:
    """Return columns by the words in which their names differ, None where those do not name machines."""
    words = [Counter(read_name(column.name).words) for column in columns]
    common = words[0]
    for other in words[1:]:
        common = common & other
    marks = {}
    for column, own in zip(columns, words, strict=True):
        rest = own - common
        name = read_name(column.name)
        if not rest or not all(w.isdigit() or len(w) == 1 or w in name.strange for w in rest):
            return None
        marks[tuple(word for word in name.words if word in rest)] = column
    return marks if len(marks) == len(columns) else None


def _machine(mark: tuple[str, ...], column: Seen) -> str:
    """Return what to call a machine by the mark in its columns."""
    word = read_name(column.name).means.get(naming.MACHINE)
    words = (word, *mark) if word and word not in mark else mark
    written = re.search(r"[\W_]*".join(map(re.escape, words)), column.name, re.IGNORECASE)
    return written[0] if written and not HIDDEN.search(written[0]) else " ".join(words)
