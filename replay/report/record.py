"""Evidence records: a score that a reviewer can read alone and anybody can recompute.

A record is a folder:

    report.txt       what `lubetrip score` printed, under a head with digests and versions
    score.json       the report as JSON
    settings.toml    the settings file, byte for byte
    record.json      digests of the above, of logic, judge and library, engine, versions, where the library was

The check replays the library with the kept settings and compares byte for byte. Under another judge
(`replay.score.judge_digest`) a record does not hold, and the check says whether all figures come out the same even so.
"""

import hashlib
import importlib.metadata
import json
import os
import platform
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from replay.display.score import score_view
from replay.display.terminal import plain
from replay.engine import ENGINES, engine_named
from replay.ground.files import check_free_folder, write_folder
from replay.ground.json_files import read_json_report
from replay.ground.places import place_of
from replay.ground.refusal import refusal, visible
from replay.ground.shape import Key, Keys, fit, path_text, plain_text
from replay.ground.shown import shown_in
from replay.library import Library, read_library
from replay.score import Score, score
from replay.score.judge_digest import judge_digest
from replay.settings import read_settings

SCHEMA = "lubetrip-record/1"
REPORT, SCORE, SETTINGS, RECORD = "report.txt", "score.json", "settings.toml", "record.json"
TERMS = """\
A fault is a window of a must-trip trace, which may have several. hit: its first
stop lies in the window; missed: no stop by the deadline; early: a stop before the
window, counted as a nuisance trip and not as a hit; stood: an earlier stop held the
machine still for the whole window, which counts neither way. A stop within ten
minutes of running after a stop in a fault has met the same fault again and counts
neither way. Nothing is judged after the last window of a trace. margin: deadline
less stop.
nuisance trips: every stop of a ride-through trace, and every early one. Their rate
is per run hour of the ride-through traces alone, so that early stops cannot make it
look smaller.
upset: a marked stretch of a ride-through trace in which something was done that a
rule could take for a fault. A stop belongs to it until five minutes after its end;
several stops in one upset count once. An upset during which the machine stood still
is no trial. Stops and run hours outside all upsets are those without upset.
Limits are exact and one-sided: Clopper-Pearson for a probability, Garwood for a
rate. They take faults, upsets and hours for a fair sample of what is to come, each
independent of the others; those of one machine are not, and show less.
"""
_TEXT = Key(plain_text)
SHAPE = Keys(
    {
        "verdict": _TEXT,
        "library": Keys({"folder": Key(path_text), "digest": _TEXT}, loose=True),
        "settings_digest": _TEXT,
        "logic": Keys({"digest": _TEXT, "engine": _TEXT}, loose=True),
        "judge": Keys({"digest": _TEXT}, needed=False, loose=True),
        "versions": Keys({}, loose=True),
        "files": Keys(dict.fromkeys((REPORT, SCORE, SETTINGS), _TEXT)),
    },
    loose=True,
)
VERSIONED = ("lubetrip", "numpy", "pyarrow", "scipy")


@dataclass(frozen=True)
class Check:
    """Whether a record still holds: what no longer does, and versions that have changed since."""

    broken: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def holds(self) -> bool:
        """True when every file is as it was written and the replay gives it again, byte for byte."""
        return not self.broken


def write_record(folder: Path | str, library: Library, result: Score) -> None:
    """Write the record of a score, whole or not at all. Raises Refusal."""
    folder = Path(folder)
    check_free_folder(folder)
    kept = _kept(result)
    settings = place_of(result.settings.file).read_bytes()
    files = {**_files(kept), SETTINGS: settings}
    about = {
        "schema": SCHEMA,
        "verdict": kept.verdict,
        "library": {"folder": _way(library.folder, folder), "digest": kept.library_digest},
        "settings_digest": kept.settings.digest,
        "logic": kept.engine.as_json(),
        "judge": {"digest": judge_digest()},
        "versions": versions(),
        "files": {name: hashlib.sha256(content).hexdigest() for name, content in sorted(files.items())},
    }
    files[RECORD] = (json.dumps(about, indent=1) + "\n").encode()
    write_folder(folder, files)


def versions() -> dict[str, str]:
    """Return the versions of what computed a score."""
    return {"python": platform.python_version(), **{name: importlib.metadata.version(name) for name in VERSIONED}}


def check_record(folder: Path | str, library: Path | str | None = None) -> Check:
    """Recompute a record; `library` is where its traces are now, if not where they were.

    Raises Refusal for a folder that is no record, or a library that cannot be read.
    """
    folder = Path(folder)
    about = _read_about(folder)
    broken = []
    for name, digest in about["files"].items():
        content = _content(folder / name)
        if content is None or hashlib.sha256(content).hexdigest() != digest:
            broken.append(f"{name} is {'missing' if content is None else 'not as it was written'}")
    if not (folder / SETTINGS).is_file():
        return Check(tuple(broken), ())
    where = Path(library) if library else folder / about["library"]["folder"]
    if library is None and not where.is_dir():
        raise refusal(where, "", "the record's library is no longer there", "--library LIBRARY, where it is now")
    engine, judge = about["logic"].get("engine"), about.get("judge", {}).get("digest", "none")
    if engine not in ENGINES:
        raise refusal(folder / RECORD, "logic.engine", "no such engine", ", ".join(ENGINES), engine)
    result = _kept(score(read_library(where), read_settings(folder / SETTINGS), engine=engine_named(engine)))
    for what, then, found in (
        ("settings", about["settings_digest"], result.settings.digest),
        ("logic", about["logic"], result.engine.as_json()),
        ("judge", judge, judge_digest()),
        ("library", about["library"]["digest"], result.library_digest),
        ("verdict", about["verdict"], result.verdict),
    ):
        if then != found:
            broken.append(f"{what}: {_told(then)} then, {_told(found)} now")
    others = len(broken)
    for name, content in _files(result).items():
        if _content(folder / name) != content.replace(judge_digest().encode(), judge.encode()):
            broken.append(f"{name} comes out otherwise now")
    now = versions()
    same = judge != judge_digest() and len(broken) == others == 1
    notes = ["judged by another judge then, and every figure comes out the same now"] if same else []
    changed = [(name, was, now.get(name, "none")) for name, was in about["versions"].items()]
    notes += [f"{name} {was} then, {found} now" for name, was, found in changed if was != found]
    return Check(tuple(broken), tuple(notes))


def _way(library: Path, folder: Path) -> str:
    """Return the way from a record to a library as every system reads it; from another drive there is no short one."""
    try:
        return Path(os.path.relpath(library, folder)).as_posix()
    except ValueError:
        return library.absolute().as_posix()


def _told(thing: Any) -> str:
    text = thing["digest"] if isinstance(thing, dict) else str(thing)
    return visible(text[:19])


def _kept(result: Score) -> Score:
    """Return the score as it stands in a record: its settings are the file beside it, in whose units it is shown."""
    with shown_in(None):
        units = read_settings(result.settings.file).units
    return replace(result, settings=replace(result.settings, file=SETTINGS, units=units))


def _files(result: Score) -> dict[str, bytes]:
    """Return the files that a replay has to give again."""
    report = result.as_json()
    head = (
        "Evidence record: a library of traces, replayed and judged.\n\n"
        f"settings  {result.settings.digest}\n"
        f"logic     {result.engine.digest}\n"
        f"judge     {judge_digest()}\n"
        f"library   {result.library_digest}\n"
        f"engine    {result.engine.name}\n"
        f"verdict   {result.verdict}\n\n{TERMS}\n"
    )
    text = head + plain(score_view(result))
    return {REPORT: text.encode(), SCORE: (json.dumps(report, indent=1) + "\n").encode()}


def _content(path: Path) -> bytes | None:
    return path.read_bytes() if path.is_file() else None


def _read_about(folder: Path) -> dict[str, Any]:
    accepted = "a folder that `lubetrip score --record` wrote"
    about = read_json_report(folder / RECORD, SCHEMA, accepted)
    fit(folder / RECORD, about, SHAPE, accepted=accepted)
    return about
