"""What was found of a machine, in its file: the fit's ensemble, its provenance, and what inspections saw.

    [fit]              what the ensemble rests on: library and traces, residuals, what the runs do not tell
    [[ensemble]]       one machine that may be this one: keys of the file, such as "oil.release_time" = "312 s"
    [[inspection]]     the machine ran dry for so long and was found so: bounds how long a film lasts

`fit` writes the first two, whoever opened the machine the third.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from replay.ground.shape import Key, Keys, UnfitError, anything, name, one_of, switch
from replay.ground.units import duration_ms
from replay.machine.keys import FIGURES, Range

ENSEMBLE, FIT, INSPECTION = "ensemble", "fit", "inspection"
SOUND, SCUFFED, FAILED = FOUND = ("sound", "scuffed", "failed")
LONGEST_DRY_S = 4 * 3600.0


@dataclass(frozen=True)
class Inspection:
    """A bearing that was seen after it had run dry: unloaded in a vacuum for dry_s, then loaded again or not.

    what: the trace or a description; found: sound, scuffed (touched, and would have gone on) or failed.
    """

    what: str
    dry_s: float
    reloaded: bool
    found: str


def _dry(value: Any) -> float:
    seconds = duration_ms(value) / 1000.0
    if not 0.0 < seconds <= LONGEST_DRY_S:
        raise UnfitError("no time that a machine runs dry for")
    return seconds


def _members(value: Any) -> tuple[dict[str, Range], ...]:
    if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
        raise UnfitError("must be a list of tables, as `lubetrip fit` writes it")
    return tuple(_member(one) for one in value)


def _member(table: dict[str, Any]) -> dict[str, Range]:
    found = {}
    for path, value in table.items():
        if path not in FIGURES:
            raise UnfitError(f"'{path}' is not a key of a machine file")
        try:
            found[path] = FIGURES[path].read(value)
        except ValueError as error:
            raise UnfitError(f"'{path}': {error}") from None
    return found


ROWS = Keys(
    {
        "what": Key(name, 'the trace or a description, such as "bench test of 3 May"'),
        "ran_dry": Key(_dry, 'how long it ran without oil pressure, such as "4 min"; up to 4 h'),
        "reloaded": Key(switch, "true: suction came back before it was stopped; false"),
        "found": Key(one_of(*FOUND), "sound, scuffed or failed"),
    },
    needed=False,
    many=True,
)
TABLES: dict[str, Key | Keys] = {
    FIT: Key(anything, "what `lubetrip fit` wrote", needed=False),
    ENSEMBLE: Key(_members, "what `lubetrip fit` wrote", needed=False),
    INSPECTION: ROWS,
}


def inspections_of(rows: Sequence[dict[str, Any]]) -> tuple[Inspection, ...]:
    """Return the inspections of a file's rows, read by `ROWS`."""
    return tuple(Inspection(row["what"], row["ran_dry"], row["reloaded"], row["found"]) for row in rows)


def written(path: str, value: float) -> str | float:
    """Return a figure as a machine file holds it: text with its unit, or a plain number."""
    told = FIGURES[path].kind.write(value)
    return told.strip('"') if told.startswith('"') else float(told)
