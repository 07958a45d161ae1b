"""Exports with a file for each tag: those of one machine and time, put together as one long table.

The profile tells by `file` which names hold which signal ("*OILP*"). Files belong together that lie in one folder and
whose names are alike but for what the pattern names.
"""

import csv
import fnmatch
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from replay.ground.refusal import refusal
from replay.measured.columns import find
from replay.measured.dialect import read_dialect
from replay.measured.opened import Given
from replay.measured.profile import Profile
from replay.measured.text_lines import pieces, whole_lines

HEAD = ("time", "tag", "value", "quality")


def has_tag_files(profile: Profile) -> bool:
    """Say whether the signals of a profile have files of their own."""
    return any(item.file is not None for item in profile.signals.values())


def joined(given: Sequence[Given], profile: Profile, folder: Path, *, repair: bool) -> list[Given]:
    """Return the given files put together, one for each machine and time, written into a folder.

    Raises Refusal for a file that is of no signal or of several, and for a set in which a signal is missing.
    """
    sets: dict[tuple[str, str], dict[str, Given]] = {}
    for file in given:
        signal, rest = _signal_of(file, profile)
        files = sets.setdefault((file.folder, rest), {})
        if signal in files:
            raise refusal(file.called, "", f"a second file of {signal} beside {files[signal].called}", "one of them")
        files[signal] = file
    found = []
    for number, ((name, rest), files) in enumerate(sets.items()):
        missing = [signal for signal, item in profile.signals.items() if item.file and signal not in files]
        called = ", ".join(file.called for file in files.values())
        if missing:
            listed = ", ".join(f'{signal} ("{profile.signals[signal].file}")' for signal in missing)
            raise refusal(called, "", f"no file of {listed} beside it", "the files of all signals in one import")
        target = folder / f"set-{number}" / (re.sub(r"^[\s_.-]+|[\s_.-]+(?=\.[^.]*$)", "", rest) or f"{name}.csv")
        target.parent.mkdir()
        with target.open("w", encoding="utf-8", newline="") as out:
            writer = csv.writer(out, delimiter=";", lineterminator="\n")
            writer.writerow(HEAD)
            for signal, file in files.items():
                with file.by_name():
                    writer.writerows(_rows(file.path, profile, signal, repair=repair))
        found.append(Given(target, called, name))
    return found


def as_long(profile: Profile) -> Profile:
    """Return the profile of files that were put together."""

    def own(item: Any) -> Any:
        return item if item.column is None else replace(item, column=item.signal, file=None)

    return replace(
        profile,
        fingerprints=(),
        file=replace(profile.file, encoding=None, separator=";", decimal=".", thousands="", header_line=1),
        time=replace(profile.time, columns=("time",)),
        channels={signal: own(item) for signal, item in profile.channels.items()},
        flags={signal: own(item) for signal, item in profile.flags.items()},
        quality=None if profile.quality is None else "quality",
        long=("tag", "value"),
        put_together=True,
    )


def _signal_of(file: Given, profile: Profile) -> tuple[str, str]:
    """Return the signal of a file and its name without what the pattern names."""
    name = file.path.name
    of = {signal: item.file for signal, item in profile.signals.items() if item.file is not None}
    fitting = [signal for signal, pattern in of.items() if fnmatch.fnmatch(name.casefold(), pattern.casefold())]
    if len(fitting) != 1:
        told = f"is of {' and '.join(fitting)}" if fitting else "is of no signal"
        patterns = ", ".join(f'{signal} "{pattern}"' for signal, pattern in of.items())
        raise refusal(file.called, "", f"{told} by the patterns of {profile.path.name}", f"one of {patterns}")
    rest = name
    for literal in re.split(r"[*?]|\[[^\]]*\]", of[fitting[0]]):
        if not re.fullmatch(r"\.\w+|", literal):
            rest = re.sub(re.escape(literal), "", rest, count=1, flags=re.IGNORECASE)
    return fitting[0], rest


def _rows(path: Path, profile: Profile, signal: str, *, repair: bool) -> Iterator[tuple[str, str, str, str]]:
    """Yield (time, tag, value, quality) of each row of the file of one signal, numbers in plain decimals."""
    dialect = read_dialect(path, profile.file)
    names = list(dialect.names)
    if dialect.marks.doubt:
        raise refusal(path, "numbers", dialect.marks.doubt, '[file] decimal = "." or "," in the profile')
    times = [find(path, profile, names, column) for column in profile.time.columns]
    value = find(path, profile, names, profile.signals[signal].column or "")
    quality = None if profile.quality is None else find(path, profile, names, profile.quality)
    unit = dialect.cell_units[value]
    for piece in pieces(path, dialect):
        data, _, _ = whole_lines(path, dialect, piece, repair=repair)
        for row in csv.reader(io.StringIO(data.decode()), delimiter=dialect.separator):
            time = " ".join(dialect.marks.plain(row[place].strip()) for place in times)
            cell = dialect.marks.plain(row[value].strip().removesuffix(unit).strip())
            yield time, signal, cell, "" if quality is None else row[quality].strip()
