"""The signals of a file in a draft: column, unit, reference, hold, the rule of running, marks of quality."""

from collections.abc import Iterator, Sequence

import numpy as np

from replay.measured.candidates import FEW_WORDS, NEEDED, VACUUM, Chosen
from replay.measured.cells import OFF, ON
from replay.measured.look import Look, Seen, column_key, quoted
from replay.measured.marks import looks_like_number
from replay.measured.naming import DIFFERENCE, MACHINE, OIL, QUALITY, STOPPED, read_name
from replay.measured.profile_keys import CHANNELS, LEVELS, OPEN, PRESSURES
from replay.measured.threshold import find_humps
from replay.measured.unit_text import (
    CURRENT,
    KINDS,
    LOAD,
    POWER,
    PRESSURE,
    SPEED,
    TEMPERATURE,
    read_unit,
    units_in_name,
)

GOOD = {
    *("good", "ok", "gut", "192", "valid", "true", "1", "0x00c0", "c0", "normal", "gültig", "bon", "bonne", "g"),
    *("valide", "buena", "bueno", "válido", "buona", "buono", "valido", "goed", "geldig", "dobra", "dobry", "dobre"),
    *("boa", "bom", "bra", "giltig", "god", "gyldig"),
}

CONTRADICTED = 0.01  # share of the rows in which status and current may not fit: starts and stops (assumed)
MOSTLY_GOOD = 0.5  # of the rows, below which marks may be those of what is not good (assumed)
RAW = {"raw", "roh", "rohwert", "brut", "bruto", "adc", "digits"}
MOST_PLAIN = 2500  # of whole numbers without a unit, above which they may be counts of an input (assumed)
HARDLY = 1.0  # psi below zero that a zero a little off explains (assumed)
BAD = {
    *("bad", "uncertain", "invalid", "questionable", "stale", "substituted", "schlecht", "ungültig", "unsicher"),
    *("mauvais", "mauvaise", "invalide", "douteux", "mala", "malo", "inválido", "cattiva", "cattivo", "non valido"),
    *("slecht", "ongeldig", "zła", "zły", "złe", "ruim", "dålig", "ogiltig", "dårlig", "ugyldig"),
}


def channel_lines(look: Look, signal: str, chosen: Chosen, qualities: dict[int, Seen]) -> Iterator[str]:
    """Tell a channel: its column, or the question which it is; unit and reference; a hold where cells are empty."""
    yield from ["", f"[{signal}]"]
    kind, column = CHANNELS[signal], chosen.taken.get(signal)
    if column is None:
        free = _free(look, chosen, kind)
        yield from _asked(look, signal, chosen.asked.get(signal, []), free)
        seen = [c for c, _ in chosen.asked.get(signal, [])] or free
        units = {c.unit_of(kind) for c in seen}
        if len(units) != 1 or units == {""}:
            yield f'unit = "{OPEN}"  # DOUBT: its unit, where the file does not say it; else leave the line out'
        yield from _scale(*seen)
        if kind == PRESSURE and not all(read_unit(u, PRESSURE).reference if u else "" for u in units or {""}):
            yield f'reference = "{OPEN}"  # DOUBT: {_references(signal)}'
        if kind == PRESSURE and any(len(units_in_name(c.name, kind)) > 1 or _may_be_compound(c) for c in seen):
            yield f'below_zero = "{OPEN}"  # DOUBT: the unit of readings below zero, as on a compound gauge: "inHg"'
        return
    if not chosen.machines:
        yield f"column = {column_key(look, column)}"
    unit = column.unit_of(kind)
    yield from _unit_lines(look, column, kind)
    yield from _scale(column) if kind == PRESSURE or column.factor else ()
    if kind == PRESSURE:
        yield _reference(signal, column, unit)
    if kind == PRESSURE and not unit and column.unit_of(CURRENT):
        yield f'scale = "{OPEN}"  # DOUBT: the pressure of 1 mA: (pressure at 20 mA - pressure at 4 mA) / 16'
        yield f'offset = "{OPEN}"  # DOUBT: the pressure at 0 mA, below zero: pressure at 4 mA - 4 * scale'
        yield "valid = [3.8, 20.5]  # DOUBT: beyond these mA the sensor or its wire is broken"
    yield from _hold(column)
    if column.place in qualities and not chosen.machines:
        yield f"quality = {column_key(look, qualities[column.place])}  # DOUBT: it is next to this column"


def _scale(*some: Seen) -> Iterator[str]:
    """Ask for the scale where a name or a unit row says that its numbers are multiplied, or raw ones seem to stand."""
    raw = next((column for column in some if _may_be_raw(column)), None)
    if raw is not None:
        yield f'scale = "{OPEN}"  # DOUBT: raw numbers of an input ({_range(raw)})? What one count is in the unit:'
        yield "# 16 bar over 27648 counts are 16/27648 = 0.000578704; 1 where the file writes the unit itself"
        yield f'offset = "{OPEN}"  # DOUBT: the pressure at count 0; 0 where the file writes the unit itself'
        return
    factors = ", ".join(quoted(column.factor) for column in some if column.factor)
    if factors:
        yield f'scale = "{OPEN}"  # DOUBT: {factors} is written beside a unit: how much of it one count is, say 0.1;'
        yield "# 1 where the file writes the unit itself"


def _may_be_raw(column: Seen) -> bool:
    """Say whether the numbers of a pressure without a unit may be counts of an input."""
    if column.unit_of(PRESSURE) or column.unit_of(CURRENT) or column.unit_of(TEMPERATURE) or not column.numbers:
        return False
    named = bool(RAW & set(read_name(column.name).words))
    return named or (max(column.numbers) > MOST_PLAIN and all(number % 1 == 0 for number in column.numbers))


def _unit_lines(look: Look, column: Seen, kind: str) -> Iterator[str]:
    """Tell the unit of a column, or ask for it: also where its name says two."""
    unit, several = column.unit_of(kind), units_in_name(column.name, kind)
    if contrary := column.contrary_unit(kind):
        yield f'unit = "{OPEN}"  # DOUBT: its name says {contrary} and the file {unit}; readings {_range(column)}'
    elif len(several) > 1:
        yield f'unit = "{OPEN}"  # DOUBT: its name says {" and ".join(several)}: that of readings above zero'
        if kind == PRESSURE:
            yield f'below_zero = "{OPEN}"  # DOUBT: that of readings below zero, as on a compound gauge: "inHg"'
    elif unit and look.long and unit == column.unit:
        yield f"unit = {quoted(unit)}  # as written beside the readings"
    elif unit:
        yield f"# found: unit {unit}"
        if kind == PRESSURE and _may_be_compound(column):
            yield f'below_zero = "{OPEN}"  # DOUBT: readings below zero ({_range(column)}): "inHg" of vacuum, as on'
            yield f"# a compound gauge, or {quoted(unit)} too"
    else:
        yield f'unit = "{OPEN}"  # DOUBT: the file does not say; readings {_range(column)}'


def _may_be_compound(column: Seen) -> bool:
    """Say whether readings below zero may be inches of mercury: as those who write psig read their gauges."""
    if not (unit := column.unit_of(PRESSURE)):
        return False
    known = read_unit(unit, PRESSURE)
    psi = known.scale == read_unit("psi", PRESSURE).scale and known.reference in ("", "gauge")
    return psi and bool(column.numbers) and min(column.numbers) < -HARDLY


def _free(look: Look, chosen: Chosen, kind: str) -> list[Seen]:
    """Return columns of numbers that were not used and have no unit of another kind; all where there are none."""
    free = [c for c, _ in chosen.left if c.told and (c.unit_of(kind) or not any(map(c.unit_of, KINDS)))]
    return free or [c for c in look.columns if c.told]


def _asked(look: Look, signal: str, some: list[tuple[Seen, str]], free: Sequence[Seen] = ()) -> Iterator[str]:
    """Ask which column a signal is, each candidate with why it is not simply taken; of none one of the free ones."""
    if some:
        told = "; ".join(f"{column_key(look, column)} ({why}{_holds(column)})" for column, why in some)
        more = "" if signal in NEEDED else ", or delete this section"
        yield f'column = "{OPEN}"  # DOUBT: which of {told}{more}'
        return
    known = ", ".join(column_key(look, c) for c in free) or "none of its columns"
    yield f'column = "{OPEN}"  # DOUBT: no column is named for {signal.replace("_", " ")}; which of {known}'


def _holds(column: Seen) -> str:
    """Tell what a column of few words holds."""
    words = sorted(set(column.filled))
    return f", holds {', '.join(words)}" if 1 <= len(words) <= FEW_WORDS and len(column.filled) > len(words) else ""


def _hold(column: Seen) -> Iterator[str]:
    """Propose how long a reading holds where most cells are empty."""
    places = np.flatnonzero([bool(cell) for cell in column.cells])
    if len(places) < 2 or 2 * len(places) > len(column.cells):  # noqa: PLR2004 - a step needs two
        return
    steps = np.diff(places)
    every = f"only one row in {np.median(steps):g} has a reading, at most {steps.max()} rows apart"
    yield f"on_change = true  # DOUBT: {every}: is it written only where it changes, or just less often?"
    yield f'longest_hold = "{OPEN}"  # DOUBT: how long a reading holds: a few of those steps; older counts as none'


def _references(signal: str, column: Seen | None = None) -> str:
    if column is not None and VACUUM & set(read_name(column.name).words):
        return '"vacuum" (it counts down from the atmosphere), "gauge" or "absolute"'
    return '"gauge" or "absolute"' if signal != "oil_pressure" else '"gauge", "absolute" or "difference" (net)'


def _reference(signal: str, column: Seen, unit: str) -> str:
    mark = read_unit(unit, PRESSURE).reference if unit else ""
    word = read_name(column.name).means.get(DIFFERENCE)
    if signal == "oil_pressure" and word and mark != "difference":
        also = f", though its unit is marked {mark}" if mark else ""
        says = f'"{word}" in its name says oil pressure above the crankcase'
        return f'reference = "{OPEN}"  # DOUBT: "difference" (net)? {says}{also}'
    if mark:
        return f'reference = "{mark}"  # marked so in the file'
    seen = _range(column)
    if column.numbers and min(column.numbers) < 0:
        return f'reference = "gauge"  # DOUBT: readings {seen} go below zero, so it can hardly be absolute'
    return (
        f'reference = "{OPEN}"  # DOUBT: {_references(signal, column)}? Readings {seen}; nothing in the file says which'
    )


def counts_from_atmosphere(chosen: Chosen) -> bool:
    """Say whether a pressure counts from the atmosphere of the site, or may do so."""
    some = [
        [taken] if (taken := chosen.taken.get(of)) else [c for c, _ in chosen.asked.get(of, [])] for of in PRESSURES
    ]
    marks = [read_unit(c.unit_of(PRESSURE), PRESSURE).reference if c.unit_of(PRESSURE) else "" for s in some for c in s]
    found = {of for of in PRESSURES if of in chosen.taken or chosen.asked.get(of)}
    return not {"oil_pressure", "suction_pressure"} <= found or not set(marks) <= {"absolute", "difference"}


def _range(column: Seen) -> str:
    numbers = column.numbers
    return f"{min(numbers):g} to {max(numbers):g}" if numbers else "none seen"


def running_lines(look: Look, chosen: Chosen, qualities: dict[int, Seen]) -> Iterator[str]:
    """Tell the rule of the running status: a column of words, or a current or speed by its levels."""
    column, several = chosen.taken.get("running"), bool(chosen.machines)
    if column is not None and column.place in qualities and not several:
        yield f"quality = {column_key(look, qualities[column.place])}  # DOUBT: it is next to this column"
    if column is not None:
        against = "" if several else _against_current(look, column, [c for c, _ in chosen.left])
        if against:
            yield f'column = "{OPEN}"  # DOUBT: {column_key(look, column)}? {against}'
        elif not several:
            yield f"column = {column_key(look, column)}"
        yield from _status(column)
    elif "running" in chosen.asked:
        yield from _asked(look, "running", chosen.asked["running"])
        yield from _asked_status([candidate for candidate, _ in chosen.asked["running"]])
    elif "current" in chosen.taken:
        yield from [] if several else [f"column = {column_key(look, chosen.taken['current'])}"]
        yield from _levels(chosen.taken["current"], CURRENT, "A", "current")
    elif "current" in chosen.asked:
        yield from _asked(look, "running", chosen.asked["current"])
        yield f'current_above = "{OPEN}"  # DOUBT: "12 A", between rest and the least a starved machine draws'
    elif "speed" in chosen.taken:
        yield from _levels(chosen.taken["speed"], SPEED, "rpm", "speed")
    else:
        free = [column for column, _ in chosen.left if column.filled]
        plain = [c.name for c in free if {cell.casefold() for cell in c.filled} <= {*ON, *OFF}]
        levels = [
            (c, what) for c in free for what in ("power", "load") if c.unit_of(LEVELS[what]) and _of_the_machine(c)
        ]
        if levels and not plain:
            yield from _asked_levels(look, levels)
            return
        perhaps = f"perhaps {' or '.join(plain)}" if plain else "no column looks like a status"
        yield f'column = "{OPEN}"  # DOUBT: {perhaps}; or current_above, speed_above'


def _of_the_machine(column: Seen) -> bool:
    """Say whether a power or a load is that of the compressor, as far as its name tells."""
    return read_name(column.name).says(MACHINE) and not read_name(column.name).says(OIL)


def _asked_levels(look: Look, some: list[tuple[Seen, str]]) -> Iterator[str]:
    """Ask for the column and the level of a power or a load, where no status is seen."""
    listed = " or ".join(f"{column_key(look, column)} with {what}_above" for column, what in some)
    yield f'column = "{OPEN}"  # DOUBT: no column looks like a status; {listed}?'
    column, what = some[0]
    yield from _levels(column, LEVELS[what], "kW" if what == "power" else "%", what, asked=True)


def _asked_status(some: list[Seen]) -> Iterator[str]:
    """Ask of a status that is not chosen yet what its words mean, and whether it is written only where it changes."""
    stands = next((c for c in some if read_name(c.name).says(STOPPED)), None)
    words = sorted({word for c in some if len(set(c.filled)) <= FEW_WORDS for word in c.filled})
    if stands is not None:
        told = f'"{read_name(stands.name).means[STOPPED]}" in a name may mean that 1 is a stopped machine'
        yield f'on = "{OPEN}"  # DOUBT: [...] those of {", ".join(map(quoted, words))} that mean it runs: {told}'
        yield f'off = "{OPEN}"  # DOUBT: [...] those that mean it is stopped'
    if any(2 * sum(map(bool, c.cells)) < len(c.cells) for c in some):
        yield f'on_change = "{OPEN}"  # DOUBT: most cells are empty: true, if a status is written only where it changes'


def _status(column: Seen) -> Iterator[str]:
    """Tell the words of a status, or that it is a mean."""
    words = sorted(set(column.filled) - {column.name})
    if column.shares:
        part = next(n for n in column.told if 0 < n < 1)
        yield f'mean_above = "{OPEN}"  # DOUBT: shares of the row such as {part:g}; 0: a row counts if it ran at all;'
        yield "# 0.99: if it ran throughout, as where a pressure is the least of the row, which at a start is none"
    elif not {word.casefold() for word in words} <= {*ON, *OFF, "1.0", "0.0"}:
        listed = ", ".join(map(quoted, words))
        yield f'on = "{OPEN}"  # DOUBT: [...] those of {listed} that mean it runs'
        yield f'off = "{OPEN}"  # DOUBT: [...] those that mean it is stopped'
    if sum(map(bool, column.cells)) < len(column.cells) / 2:
        yield "on_change = true  # DOUBT: most cells are empty: is the status written only where it changes"


def _against_current(look: Look, column: Seen, others: list[Seen]) -> str:
    """Say where the current of the motor contradicts a status; "" where it does not, or there is none."""
    for current in others:
        if not current.unit_of(CURRENT) or not read_name(current.name).says(CURRENT):
            continue
        pairs = zip(column.far or column.cells, current.far or current.cells, strict=True)
        drawn = [(word.casefold(), float(cell)) for word, cell in pairs if word and looks_like_number(cell)]
        humps = find_humps(np.array([amps for _, amps in drawn]))
        if humps is None or not humps.at_rest:
            continue
        wrong = sum((word in OFF and amps > humps.on) or (word in ON and amps < humps.off) for word, amps in drawn)
        if wrong > CONTRADICTED * len(drawn):
            share = f"{100 * wrong / len(drawn):.0f} % of the rows"
            return f"In {share} {column_key(look, current)} says otherwise: or that column, with current_above"
    return ""


def _levels(column: Seen, kind: str, unit: str, what: str, *, asked: bool = False) -> Iterator[str]:
    """Propose the levels of a current or speed from how often each value comes in the file."""
    own = column.unit_of(kind)
    if not own:
        yield f'unit = "{OPEN}"  # DOUBT: the unit of this {what}'
    scale = read_unit(own, kind).scale if own else 1.0
    humps = find_humps(np.array(column.told) * scale)
    if humps is None:
        example = {CURRENT: '"12 A"', SPEED: '"200 rpm"', POWER: '"4 kW"', LOAD: '"5 %"'}[kind]
        yield f'{what}_above = "{OPEN}"  # DOUBT: {example}, between rest and running; readings {_range(column)}'
        yield f'{what}_below = "{OPEN}"  # DOUBT: below this it is stopped; no gap is seen between rest and running'
        return
    on, off = f'"{humps.on:g} {unit}"', f'"{humps.off:g} {unit}"'
    told = f"{humps.told(unit)}; a starved machine draws less" if kind == CURRENT else humps.told(unit)
    if humps.at_rest and not asked:
        yield f"{what}_above = {on}  # DOUBT: {told}"
        yield f"{what}_below = {off}  # DOUBT: below this it is stopped; between the two nothing changes"
    else:
        yield f'{what}_above = "{OPEN}"  # DOUBT: {on}? {told}; is the lower hump a machine at rest?'
        yield f'{what}_below = "{OPEN}"  # DOUBT: {off}?'
    yield 'least_run = "5 s"  # DOUBT: a shorter run is a flicker of the reading'
    yield 'least_stop = "5 s"  # DOUBT: and so is a shorter stop'


def is_quality(column: Seen) -> bool:
    """Say whether a column holds marks of quality: so named, and few words; or by its words, whatever it is called."""
    name = read_name(column.name)
    words = {word.casefold() for word in column.filled}
    if words & BAD and words <= GOOD | BAD:
        return True
    return name.says(QUALITY) and not name.elsewhere and 1 <= len(set(column.filled)) <= FEW_WORDS and not column.shares


def qualities_of(chosen: Chosen, some: list[Seen]) -> dict[int, Seen]:
    """Return marks of quality by the place of the column that each stands behind, where there are several."""
    used = {c.place for c in chosen.taken.values()} | {c.place for asked in chosen.asked.values() for c, _ in asked}
    used |= {c.place for columns in chosen.machines.values() for c in columns.values()}
    return {c.place - 1: c for c in some if c.place - 1 in used} if len(some) > 1 else {}


def quality_lines(look: Look, some: list[Seen], known: dict[int, Seen]) -> Iterator[str]:
    """Tell the columns of quality: one for the whole row; several stand with their signals."""
    if not some:
        return
    words = list(dict.fromkeys(word for column in some for word in column.filled))
    good = [word for word in words if word.casefold() in GOOD]
    yield from ["", "[quality]"]
    if len(some) == 1:
        yield f"column = {column_key(look, some[0])}  # DOUBT: it holds {', '.join(words)}; unmarked as good is none"
    elif len(known) < len(some):
        each = ", ".join(column_key(look, column) for column in some if column not in known.values())
        yield f'column = "{OPEN}"  # DOUBT: {each}: of the whole row? Or name it with its signal, as quality = ..., and'
        yield "# delete this line"
    if good and not _may_be_marks_of_bad(some, good):
        yield f"good = [{', '.join(map(quoted, good))}]  # DOUBT: is that right? The words seen are {', '.join(words)}"
    else:
        yield f'good = "{OPEN}"  # DOUBT: [...] the good ones of {", ".join(words)}{_seldom(some, good)}'


def _may_be_marks_of_bad(some: list[Seen], good: list[str]) -> bool:
    """Say whether marks may mean the opposite: a name says bad, or hardly any reading would be good."""
    return bool(_seldom(some, good)) or any({"bad", *BAD} & set(read_name(column.name).words) for column in some)


def _seldom(some: list[Seen], good: list[str]) -> str:
    """Say of which share of its rows the first column with few such marks has them; "" where most are."""
    for column in some:
        share = sum(word in good for word in column.filled) / max(len(column.filled), 1)
        if good and share < MOSTLY_GOOD:
            return f"; {', '.join(good)} stands in {100 * share:.0f} % of the rows of {column.name}: may 0 be good?"
    return ""
