"""What went wrong in a forecast, kept as traces of a library with their labels: nothing else of it is stored.

Each is the machine *unprotected*, from some minutes before on, as it stands in any library: so `score` and `tune` judge
on it what a protection would have done. Sensors read what they read in the forecast. The label is the physics' own.
"""

import json
import shutil
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from replay.forecast.year import Wrong
from replay.ground.files import write_text, write_whole
from replay.ground.json_files import read_json
from replay.ground.places import place_of
from replay.ground.refusal import or_refuse, refusal
from replay.ground.toml_files import parse_toml
from replay.library import library_from
from replay.library.editing import entry_text
from replay.library.library import FILE
from replay.physics.befalling import Befalling
from replay.physics.drawing import Site
from replay.physics.families import label_of, recorded_trace
from replay.physics.sensors import NEVER_S
from replay.settings import Settings
from replay.synth.libraries import write_trace
from replay.synth.loop import Running

WORK = ".forecast"
RECIPE = "recipe.json"
BEFORE_MS, AFTER_MS = 600_000, 1_200_000  # of a stop in ordinary duty, what is kept around it
ACCEPTED = "a new or empty folder, or the forecast it was begun with"


def begin(folder: Path, recipe: Mapping[str, Any]) -> None:
    """Make a folder ours. Raises Refusal where it holds anything that a forecast of this recipe did not write."""
    begun = folder / WORK / RECIPE
    if begun.exists():
        if read_json(begun, ACCEPTED) != recipe:
            raise refusal(folder, "", "holds what another forecast kept", ACCEPTED)
        return
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise refusal(folder, "", "holds files that no forecast kept", ACCEPTED)
    with or_refuse(folder, "made", "a folder that can be written"):
        (folder / WORK).mkdir(parents=True, exist_ok=True)
        (folder / "traces").mkdir(exist_ok=True)
    write_text(begun, json.dumps(recipe))


def done(folder: Path, number: int) -> dict[str, Any] | None:
    """Return what was kept of a machine-year that a run before has finished, None of another."""
    file = folder / WORK / f"year-{number:07d}.json"
    return dict(read_json(file, ACCEPTED)) if file.exists() else None


def finish(folder: Path, number: int, year: Mapping[str, Any]) -> None:
    """Keep what came of a machine-year."""
    write_text(folder / WORK / f"year-{number:07d}.json", json.dumps(year))


def keeper(folder: Path, seed: int, entries: list[dict[str, Any]]) -> Callable[..., None]:
    """Return what keeps the traces of a machine-year in a folder and gathers their entries."""
    count: dict[tuple[str, int], int] = {}

    def keep(wrong: Wrong, begun: Running, site: Site, befalling: Befalling | None) -> None:
        """Record the machine unprotected around what went wrong."""
        machine, begin_ms, until_ms = begun.copy(), 0, 0
        machine.follow(begun.plan[:4])
        if befalling is None:
            begin_ms, until_ms = max(wrong.at_ms - BEFORE_MS, 0), wrong.at_ms + AFTER_MS
            while not machine.run(begin_ms):
                pass
            machine.forget_damage()
        else:
            until_ms = int(befalling.case.duration_s * 1000.0)
        result = machine.record(until_ms)
        fault_s = machine.chain.fault_s
        label = label_of(result, fault_s - begin_ms / 1000.0 if fault_s < NEVER_S else NEVER_S)
        family = wrong.family.replace(" ", "-")
        nth = count[(family, wrong.day)] = count.get((family, wrong.day), 0) + 1
        name = f"{wrong.what}-{family}-{wrong.year:04d}-{wrong.day:03d}-{nth}"
        when = f"machine-year {wrong.year}, day {wrong.day}, {wrong.at_ms / 1000:.0f} s"
        told = f"synthetic: forecast of seed {seed}, {when}"
        trace = recorded_trace(
            result,
            id=name,
            family=family,
            machine=site.machine.name,
            oil=site.oil.name,
            origin="; ".join((told, site.refrigerant.name, *machine.chain.errors)),
            label=label,
            upsets=[],
        )
        file = Path("traces") / f"{name}.parquet"
        write_whole(folder / file, lambda stream: write_trace(stream, iter((trace,)), "parquet"))
        named = {key: getattr(trace, key) for key in ("family", "machine", "oil", "origin")}
        entries.append({"id": name, "file": file.as_posix(), **named, **label})

    return keep


def close(folder: Path, settings: Settings, entries: Iterable[Mapping[str, Any]]) -> int:
    """Write the library of all that is kept, with the settings; return how many traces it has."""
    import tomlkit

    kept = list(entries)
    if not kept:
        return 0
    head = tomlkit.document()
    head.add(
        tomlkit.comment("Kept by `lubetrip forecast`: what went wrong, unprotected; labels come from the physics.")
    )
    shutil.copyfile(place_of(settings.file), folder / "settings.toml")
    head["settings"] = "settings.toml"
    text = "\n".join([tomlkit.dumps(head), *map(entry_text, kept)])
    library_from(folder, parse_toml(text))
    write_text(folder / FILE, text)
    return len(kept)
