"""Labels of many traces in one file: what the label page gives out (JSON), or a table that somebody filled in (CSV).

A table has a row for each trace, and one more for each further window of it. Columns in any order:

    id                     the trace
    label                  must trip, ride through or undecided
    earliest, deadline     of a window: seconds, "5 min", or by the clock (`replay.library.told_time`)
    likely, latest         optional: the band of its deadline
    note                   optional: why
    inspection             optional: what was found when the machine was opened
    by, on                 optional: who says so, and on which day
    settles                optional: yes, where reviewers differ and this ends it
"""

import csv
import dataclasses
import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from replay.ground.json_files import read_json_report
from replay.ground.places import check_file
from replay.ground.refusal import or_refuse, refusal
from replay.ground.shape import Key, Keys, UnfitError, fit, name, plain_text, switch, text
from replay.library.label import LABEL_KEYS, LABELS, Label, MustTrip, read_label, words_of
from replay.library.labels import NO_REASON, Edit, Said, entry_of, give_labels, login
from replay.library.library import Entry, Library, read_library
from replay.library.told_time import second_of

SCHEMA = "lubetrip-labels/1"
COLUMNS = ("id", "label", "earliest", "deadline", "likely", "latest", "note", "inspection", "by", "on", "settles")
NEEDED = ("id", "label")
TIMES = ("earliest", "deadline", "likely", "latest")
YES, NO = ("yes", "true", "1"), ("", "no", "false", "0")
MOST_BYTES = 1 << 28


def take_labels(folder: Path | str, path: Path | str, who: str | None = None, day: dt.date | None = None) -> list[Edit]:
    """Give traces of a library the labels of a file, all or none, and return what changed by each.

    path: what the label page gave out (.json) or a table (.csv); who: says so where the file does not, the name of the
    login without it; day: today without it. Raises Refusal.
    """
    day = day or dt.datetime.now().astimezone().date()
    said = read_labels(Path(path), read_library(folder), login() if who is None else who, day)
    return give_labels(folder, said)


def read_labels(path: Path, library: Library, who: str | None, day: dt.date) -> list[Said]:
    """Return what a file says of the traces of a library; who and day: where it does not say. Raises Refusal."""
    if path.suffix.casefold() == ".csv":
        return _table(path, library, who, day)
    return _page(path, who)


# ------------------------------------------------------------------------------------------------------------- the page


def _iso_day(value: Any) -> dt.date:
    try:
        return dt.date.fromisoformat(text(value))
    except ValueError:
        raise UnfitError("no date") from None


_LABEL = Keys(
    {
        "id": Key(name, "the id of a trace"),
        "sha256": Key(name, "of the trace's file"),
        "on": Key(_iso_day, "a date such as 2026-11-25"),
        **LABEL_KEYS,
        "note": Key(plain_text, "text"),
        "inspection": Key(plain_text, "text"),
        "settles": Key(switch, "true or false"),
        "seen": Key(switch, "true or false"),
    },
    many=True,
)
_PAGE = Keys({"schema": Key(name), "by": Key(plain_text, "who says so"), "labels": _LABEL})


def _page(path: Path, who: str | None) -> list[Said]:
    accepted = "what the label page gave out (.json), or a table (.csv)"
    found = fit(path, read_json_report(path, SCHEMA, accepted), _PAGE, accepted=accepted)
    by = found["by"].strip() or who or ""
    said = []
    for item in found["labels"]:
        where = f"{path}: {item['id']}"
        label = read_label(path, f"label of {item['id']}", item)
        why = item["note"].strip() or NO_REASON
        told = {key: item[key] for key in ("on", "inspection", "settles", "seen", "sha256")}
        said.append(Said(item["id"], label, by, why=why, where=where, **told))
    return said


# ------------------------------------------------------------------------------------------------------------ the table


def _table(path: Path, library: Library, who: str | None, day: dt.date) -> list[Said]:
    check_file(path, MOST_BYTES)
    try:
        with or_refuse(path, "read"), path.open(encoding="utf-8-sig", newline="") as stream:
            reader = csv.DictReader(stream, restkey="", strict=True)
            _check_heads(path, reader.fieldnames or ())
            rows = [(reader.line_num, row) for row in reader]
    except (csv.Error, UnicodeDecodeError) as error:
        raise refusal(path, "", f"no table ({error})", "CSV in UTF-8 with a header row") from None
    found: dict[str, Said] = {}
    for line, cells in rows:
        where = f"{path}:{line}"
        if "" in cells:
            raise refusal(where, "", "more cells than heads", "a comma for each column; text with commas in quotes")
        row = {column: (cells.get(column) or "").strip() for column in COLUMNS}
        entry = entry_of(library, row["id"])
        said = _row(row, entry, where, who, day)
        if entry.id in found:
            said = _one_more(found[entry.id], said, where)
        found[entry.id] = said
    return list(found.values())


def _check_heads(path: Path, heads: Sequence[str]) -> None:
    for head in heads:
        if head not in COLUMNS or list(heads).count(head) > 1:
            rule = "there twice" if head in COLUMNS else "no such column"
            raise refusal(path, "header", rule, ", ".join(COLUMNS), head)
    for head in NEEDED:
        if head not in heads:
            raise refusal(path, "header", f"no column {head}", ", ".join(COLUMNS))


def _row(row: dict[str, str], entry: Entry, where: str, who: str | None, day: dt.date) -> Said:
    kind = row["label"].casefold().replace(" ", "_").replace("-", "_")
    if kind not in LABELS:
        raise refusal(where, "label", "no such label", ", ".join(map(words_of, LABELS)), row["label"])
    times = {key: second_of(row[key], entry, where, key) for key in TIMES if row[key]}
    label: Label = kind
    if kind == "must_trip":
        for key in TIMES[:2]:
            if key not in times:
                raise refusal(where, key, "a window without it", "earliest and deadline")
        label = (MustTrip(*(times.get(key) for key in TIMES)),)  # type: ignore[arg-type] # the first two are there
    elif times:
        raise refusal(where, next(iter(times)), f"a time of a trace that is {row['label']}", "times of must trip alone")
    if row["settles"].casefold() not in YES + NO:
        raise refusal(where, "settles", "neither yes nor no", "yes, or nothing", row["settles"])
    try:
        on = _iso_day(row["on"]) if row["on"] else day
    except UnfitError as error:
        raise refusal(where, "on", str(error), "a date such as 2026-11-25", row["on"]) from None
    settles = row["settles"].casefold() in YES
    why = row["note"] or NO_REASON
    return Said(entry.id, label, row["by"] or who or "", on, why, row["inspection"], settles, where=where)


def _one_more(first: Said, second: Said, where: str) -> Said:
    """Return a label with the window of a further row."""
    if isinstance(first.label, str) or isinstance(second.label, str):
        accepted = "a further row for a further window alone"
        raise refusal(where, "id", "labelled by an earlier row", accepted, second.identity)
    return dataclasses.replace(first, label=(*first.label, *second.label), where=where)
