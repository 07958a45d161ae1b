"""Write a library of synthesised traces: same recipe, same bytes, whoever runs it and however often it is interrupted.

While a library is being made its folder holds `.synth/`, with the recipe and the
finished entries; library.toml appears at the end, with the recipe in it. So an
interrupted run carries on where it stopped, a finished one is left alone, and a
folder that holds anybody else's files is refused.
"""

import functools
import json
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from replay.engine.workers import Progress, quiet, workers
from replay.ground.files import write_text, write_whole
from replay.ground.json_files import read_json
from replay.ground.lock import FILE as LOCK
from replay.ground.lock import locked
from replay.ground.refusal import or_refuse, refusal
from replay.ground.shape import Key, Keys, UnfitError, fit, list_of, number, one_of, plain_text, whole
from replay.ground.toml_files import parse_toml, read_toml
from replay.library import library_from
from replay.library.editing import entry_text
from replay.library.library import FILE, TRACE, check_inside
from replay.machine import MachineFile, read_machine
from replay.physics.families import (
    FAMILIES,
    LEAST_UPSETS_PER_HOUR,
    LOGGERS,
    MOST_UPSETS_PER_HOUR,
    UPSETS_PER_HOUR,
    SynthTrace,
    generate_pieces,
)
from replay.trace.rows import arrow_kpa

FORMATS = ("csv", "parquet")
WORK = ".synth"
RECIPE_FILE = "recipe.json"  # in it
MACHINE = "machine.toml"  # the copy of the machine file that a library was made from
SETTINGS = "settings.toml"  # a settings file that already stands in the folder becomes the library's own
README = "README.md"  # and words about it stay
MADE = Keys({key: its for key, its in TRACE.by_name.items() if key != "id"})
MANY = 100000
LABELLED_OVER = 8  # members of an ensemble: a label costs at most ten times a plain one


@dataclass(frozen=True)
class Recipe:
    """All that a library follows from.

    hours: length of each harmless trace, None: 15 minutes; upsets_per_hour: in those; loggers: who samples; machine:
    the one that all traces are of, None: the invented ones.
    """

    families: tuple[str, ...]
    count: int
    seed: int
    hours: float | None
    format: str
    upsets_per_hour: float = UPSETS_PER_HOUR
    loggers: str = LOGGERS[0]
    machine: MachineFile | None = None

    @property
    def options(self) -> dict[str, Any]:
        """What `replay.physics.families.case_of` takes beside family, number, seed and hours."""
        return {
            "upsets_per_hour": self.upsets_per_hour,
            "loggers": self.loggers,
            "sites": None if self.machine is None else self.machine.site,
        }

    @property
    def others(self) -> list[Any]:
        """Sites of those members of the machine's ensemble that each trace is labelled over."""
        return [] if self.machine is None else [one.site for one in self.machine.others(LABELLED_OVER)]

    def traces(self) -> list[tuple[str, int]]:
        """Return (family, number within the family) of each trace: the families in turn."""
        return [(self.families[i % len(self.families)], i // len(self.families)) for i in range(self.count)]

    def as_table(self) -> dict[str, Any]:
        """Return the recipe as it stands in library.toml."""
        table = {**vars(self), "families": list(self.families)}
        if self.machine is not None:
            table |= {"machine": MACHINE, "machine_digest": self.machine.digest}
        return {key: value for key, value in table.items() if value is not None}


def _families(value: Any) -> tuple[str, ...]:
    names: tuple[str, ...] = list_of(one_of(*FAMILIES, rule="no such family"))(value)
    if len(set(names)) < len(names) or not names:
        raise UnfitError("a family appears twice" if names else "no family")
    return names


RECIPE = Keys(
    {
        "families": Key(_families, "all, or some of: " + ", ".join(FAMILIES)),
        "count": Key(whole(1, MANY), f"1 to {MANY}"),
        "seed": Key(whole(0), "0 or more"),
        "hours": Key(number(0.1, rule="too short"), "0.1 or more", needed=False),
        "format": Key(one_of(*FORMATS), " or ".join(FORMATS)),
        "upsets_per_hour": Key(
            number(LEAST_UPSETS_PER_HOUR, MOST_UPSETS_PER_HOUR, "too few or too many"),
            f"{LEAST_UPSETS_PER_HOUR} to {MOST_UPSETS_PER_HOUR}",
            needed=False,
        ),
        "loggers": Key(one_of(*LOGGERS), " or ".join(LOGGERS), needed=False),
        "machine": Key(one_of(MACHINE), f"{MACHINE}, the copy beside the library", needed=False),
        "machine_digest": Key(plain_text, "the SHA-256 of that copy", needed=False),
    }
)


def recipe(
    families: str,
    count: int,
    seed: int,
    hours: float | None = None,
    form: str = "csv",
    *,
    upsets_per_hour: float = UPSETS_PER_HOUR,
    loggers: str = LOGGERS[0],
    machine: MachineFile | Path | str | None = None,
) -> Recipe:
    """Return what a library of traces follows from, once it is checked. Raises Refusal.

    families: "all", or names parted by commas, in turn; count: of traces; hours: length of each harmless trace, 15
    minutes without it; form: "csv" or "parquet"; upsets_per_hour: how often something that could be taken for a fault
    is done to a harmless machine, at drawn moments between hours of ordinary duty; loggers: "controller" samples once
    or twice a second, "field" every 5 to 60 s, too slowly to judge a protection by. machine: a machine file, or as
    `read_machine` returns it; "all" families are then those that make sense on it, and one that does not is refused.
    Same recipe, same bytes.
    """
    described = read_machine(machine) if isinstance(machine, Path | str) else machine
    unfit = {} if described is None else described.left_out()
    names = [name.strip() for name in families.split(",")]
    if families == "all":
        names = [name for name in FAMILIES if name not in unfit]
    for family in names:
        if family in unfit:
            raise refusal("synth", "--families", f"makes no sense on this machine: {unfit[family]}", "another", family)
    given = {"families": names, "count": count, "seed": seed, "format": form}
    given |= {"upsets_per_hour": upsets_per_hour, "loggers": loggers}
    made = recipe_from("synth", given | ({} if hours is None else {"hours": hours}), "--")
    return replace(made, machine=described)


def recipe_from(file: Path | str, table: Any, where: str) -> Recipe:
    """Check a recipe; where: what stands before its keys. Raises Refusal, which names the key.

    One of a machine of the user's is that of the file beside it, which has to be the one it was made from.
    """
    found = fit(file, table, RECIPE, where)
    told, digest = found.pop("machine", None), found.pop("machine_digest", None)
    if told is not None:
        found["machine"] = copy_of(Path(file).parent / told, str(digest), f"{where}machine_digest")
    return Recipe(**{"hours": None, **found})


def copy_of(path: Path, digest: str, where: str) -> MachineFile:
    """Return the machine file beside a library. Raises Refusal where it is not the one of the digest."""
    machine = read_machine(path)
    if machine.digest != digest:
        rule = "not the machine file that the library was made from"
        raise refusal(path, where, rule, "that file as it was, or a library made anew", machine.digest[:12])
    return machine


def synthesise(
    folder: Path | str,
    wanted: Recipe,
    *,
    jobs: int = 1,
    cluster: str | None = None,
    progress: Progress = quiet,
) -> bool:
    """Write the library of a recipe into a folder; jobs, cluster: as in `score_library`.

    Returns False when the folder holds that very library already. Raises
    Refusal when it holds anything else that this function did not write.
    """
    folder = Path(folder)
    if _is_made(folder, wanted):
        return False
    with or_refuse(folder, "made", "a folder that can be written"):
        folder.mkdir(parents=True, exist_ok=True)
    with locked(folder):
        if _is_made(folder, wanted):  # by another run meanwhile
            return False
        _begin(folder, wanted)
        traces = folder / "traces"
        with or_refuse(traces, "made", "a folder that can be written"):
            traces.mkdir(exist_ok=True)
        with workers(jobs, cluster) as each, progress(wanted.count, "synthesising") as stage:
            each(functools.partial(_make, folder.absolute(), wanted), wanted.traces(), stage.advance)
        _finish(folder, wanted)
    return True


def _is_made(folder: Path, wanted: Recipe) -> bool:
    """Tell whether the folder holds that very library. Raises Refusal where it holds anything that was not begun so."""
    asked = wanted.as_table()
    for name in (FILE, WORK, MACHINE, "traces"):
        check_inside(folder, folder / name)
    accepted = "an empty or new folder, or the recipe it was begun with"
    if wanted.machine is not None and (folder / MACHINE).exists():
        copy_of(folder / MACHINE, wanted.machine.digest, "")
    if (folder / FILE).exists():
        found = read_toml(folder / FILE, "library").get("recipe")
        if found is None:
            raise refusal(folder, "", "holds a library that was not synthesised", accepted)
        if found != asked:
            raise refusal(folder, "", f"holds the library of another recipe ({_told(found)})", accepted)
        return True
    begun = folder / WORK / RECIPE_FILE
    if begun.exists():
        found = read_json(begun, accepted)
        if found != asked:
            raise refusal(folder, "", f"holds the beginning of another recipe ({_told(found)})", accepted)
        return False
    if folder.exists() and not folder.is_dir():
        raise refusal(folder, "", "is a file", accepted)
    if folder.exists() and any(item.name not in (SETTINGS, MACHINE, README, WORK, LOCK) for item in folder.iterdir()):
        raise refusal(folder, "", "holds files that were not synthesised", accepted)
    return False


def _begin(folder: Path, wanted: Recipe) -> None:
    """Make the folder ours, unless a run before has done so."""
    with or_refuse(folder, "made", "a folder that can be written"):
        (folder / WORK).mkdir(exist_ok=True)
    if wanted.machine is not None and not (folder / MACHINE).exists():
        write_text(folder / MACHINE, wanted.machine.text)
    if not (folder / WORK / RECIPE_FILE).exists():
        write_text(folder / WORK / RECIPE_FILE, json.dumps(wanted.as_table()))


def _told(table: object) -> str:
    if not isinstance(table, dict) or not isinstance(table.get("families"), list):
        return "not one that can be read"
    return f"{len(table['families'])} families, count {table.get('count')}, seed {table.get('seed')}"


def _make(folder: Path, wanted: Recipe, which: tuple[str, int]) -> None:
    """Write one trace and then its entry, unless a run before has done so."""
    family, index = which
    entry = folder / WORK / f"{_name(family, index)}.json"
    check_inside(folder, entry)
    if entry.exists():
        return
    pieces = generate_pieces(family, index, wanted.seed, wanted.hours, others=wanted.others, **wanted.options)
    file = Path("traces") / f"{_name(family, index)}.{wanted.format}"
    check_inside(folder, folder / file)
    ends: list[SynthTrace] = []
    write_whole(folder / file, lambda stream: ends.append(write_trace(stream, pieces, wanted.format)))
    (trace,) = ends
    named = {key: getattr(trace, key) for key in ("family", "machine", "oil", "origin")}
    upsets = [[round(moment, 1) for moment in span] for span in trace.upsets]
    marked = {"upsets": upsets} if upsets else {}
    write_text(entry, json.dumps({"file": file.as_posix(), **named, **trace.label, **marked}))


def _name(family: str, index: int) -> str:
    return f"{family}-{index:05d}"


def _finish(folder: Path, wanted: Recipe) -> None:
    """Gather the entries into library.toml, in the recipe's order, and clear the work away."""
    import tomlkit

    head = tomlkit.document()
    head.add(tomlkit.comment("Made by `lubetrip synth` from the recipe below; labels come from the physics."))
    if wanted.machine is not None:
        head.add(tomlkit.comment(f"All traces are of one machine; {wanted.machine.source}."))
        for family, reason in wanted.machine.left_out().items():
            head.add(tomlkit.comment(f"Left out: {family}: {reason}."))
    if (folder / SETTINGS).is_file():
        head["settings"] = SETTINGS
    head["recipe"] = wanted.as_table()
    names = [_name(family, index) for family, index in wanted.traces()]
    entries = [{"id": name, **_made(folder / WORK / f"{name}.json")} for name in names]
    text = "\n".join([tomlkit.dumps(head), *map(entry_text, entries)])
    library_from(folder, parse_toml(text))
    write_text(folder / FILE, text)
    shutil.rmtree(folder / WORK, ignore_errors=True)  # the library is whole: what is left of the work is of no use


def _made(entry: Path) -> dict[str, Any]:
    """Read the entry of a trace that was made, perhaps by a run before this one."""
    accepted = "an entry that this command wrote: remove it, and its trace is made again"
    item = read_json(entry, accepted)
    fit(entry, item, MADE, "entry, ", accepted)
    return dict(item)


def write_trace(stream: BinaryIO, pieces: Iterator[SynthTrace], form: str) -> SynthTrace:
    """Write a trace piece by piece in the project's CSV form, or the same columns in Parquet, a row group a piece.

    Returns the last piece.
    """
    import pyarrow.csv as pa_csv
    import pyarrow.parquet as pa_parquet

    piece = next(pieces)
    table = _table(piece)
    if form == "parquet":
        writer = pa_parquet.ParquetWriter(stream, table.schema, compression="zstd")
    else:
        writer = pa_csv.CSVWriter(stream, table.schema, write_options=pa_csv.WriteOptions(quoting_style="none"))
    with writer:
        writer.write_table(table)
        for piece in pieces:
            writer.write_table(_table(piece))
    return piece


def _table(trace: SynthTrace) -> Any:
    """Return the columns of a trace file as a pyarrow Table. Pa become kPa without loss."""
    import pyarrow as pa

    columns: dict[str, Any] = {"time_s": trace.time_ms / 1000.0, "oil_pressure_kpa": arrow_kpa(trace.oil_pa)}
    columns["suction_pressure_kpa"] = arrow_kpa(trace.suction_pa)
    columns["running"] = trace.running
    if trace.crankcase_pa is not None:
        columns["crankcase_pressure_kpa"] = arrow_kpa(trace.crankcase_pa)
    columns["oil_temperature_c"] = np.round(trace.oil_temperature_c, 1)
    columns["speed_rpm"] = np.round(trace.speed_rpm)
    return pa.table(columns)
