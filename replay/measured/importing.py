"""Files into a library: the whole of an import, and its report."""

from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from replay.engine.workers import Progress, quiet
from replay.ground.lock import locked
from replay.ground.refusal import Refusal, refusal, visible
from replay.ground.toml_files import read_toml
from replay.library.digest import sha256_of
from replay.library.library import FILE, check_inside
from replay.measured import into_library, profiles
from replay.measured.assemble import HOUR_MS, LEAST_ROWS, Assembler, Counts
from replay.measured.profile import read_profile
from replay.measured.report import Report, TraceLine
from replay.measured.sources import Source, kind_of_file, open_source


@dataclass(frozen=True)
class Imports:
    """What became of some files: the reports on those that went in or were there, and why others were refused."""

    reports: tuple[Report, ...]
    refused: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """Return the reports, and the refusals in the order of the files."""
        return {"imports": [report.as_json() for report in self.reports], "refused": list(self.refused)}


def import_logs(
    files: Sequence[Path | str],
    library: Path | str,
    profile: Path | str | None = None,
    *,
    repair: bool = False,
    progress: Progress = quiet,
) -> Imports:
    """Import loggers' files into a library, made if need be, one after the other; a refused one keeps none out.

    profile: the file that says what the columns are; without it, the library's own profile for a file's header.
    repair: leave out rows that are broken or out of order. The result is an `Imports`: `reports`, `refused`,
    `as_json()`. Raises Refusal for a profile that is none.
    """
    paths, chosen = [Path(file) for file in files], None if profile is None else Path(profile)
    if chosen is not None:
        read_profile(chosen)  # what is wrong with it is said once, not for each file
    reports, refused = [], []
    sizes = [path.stat().st_size if path.is_file() else 0 for path in paths]
    with progress(sum(sizes), "importing") as stage:
        for path, size in zip(paths, sizes, strict=True):
            read = 0

            def advance(count: int) -> None:
                nonlocal read
                read += count
                stage.advance(count)

            try:
                reports.append(import_file(path, Path(library), chosen, repair=repair, advance=advance))
            except Refusal as error:
                refused.append(str(error))
            stage.advance(size - read)  # one that is refused or known is done with as well
    return Imports(tuple(reports), tuple(refused))


def import_file(
    path: Path,
    library: Path,
    profile_file: Path | None = None,
    *,
    repair: bool = False,
    advance: Callable[[int], None] = lambda _: None,
) -> Report:
    """Import one file into a library, whole or not at all, and return the report.

    Without a profile file the library's own profiles are looked through for the file's header. A file whose
    SHA-256 stands in the library already is recognised, and nothing is done. `advance` is told the bytes read.
    Raises Refusal, naming line or key, for whatever is wrong; the library is then as before.
    """
    kind_of_file(path)
    check_inside(library, library / FILE)
    if (library / FILE).exists():
        read_toml(library / FILE, "library")
    elif library.exists() and not library.is_dir():
        raise refusal(library, "", "is a file", "a folder for the library")
    with ThreadPoolExecutor(1) as pool:
        hashing = pool.submit(sha256_of, path)
        if (library / FILE).exists() and (already := into_library.entries_with(library, hashing.result())):
            return Report(path.name, hashing.result(), already=already)
        profile = read_profile(profile_file) if profile_file else profiles.profile_for(path, library)
        source = open_source(path, profile, repair=repair)
        profiles.check_fingerprint(path, profile, source.fingerprint)
        return _import(source, library, hashing, repair=repair, advance=advance)


def _import(
    source: Source, library: Path, hashing: Future[str], *, repair: bool, advance: Callable[[int], None]
) -> Report:
    """Import a file that is not in the library yet."""
    path, profile = source.path, source.profile
    files = into_library.TraceFiles(library)
    try:
        assembler = Assembler(source, files, repair=repair)
        for block in source.blocks():
            assembler.add(block)
            advance(block.size)
        counts = assembler.finish()
        _check_result(source, counts, files)
        digest = hashing.result()
        with locked(library):
            already = into_library.entries_with(library, digest)
            if already:  # entered by another import meanwhile
                return Report(path.name, digest, already=already)
            lines, entries = _entries(source, digest, counts, files)
            files.enter(entries)
    finally:
        files.discard()
    try:
        kept = profiles.keep(profile, library, source.fingerprint)
    except Refusal as error:  # the traces are in, so this must not look as if they were not
        kept = f"profile NOT kept: {error}"
    notes = [*source.notes(), *([kept] if kept else [])]
    return Report(path.name, digest, str(profile.path), source.fingerprint, notes, counts, lines, assembler.doubts())


def _check_result(source: Source, counts: Counts, files: into_library.TraceFiles) -> None:
    """Refuse a file with numbers that look like sentinels, or of which nothing is left."""
    path, profile = source.path, source.profile
    if profile.file.sentinels is None:
        for signal, seen in counts.readings.items():
            for value, count in seen.sentinel_like().items():
                rule = f"looks like a sentinel for no reading and stands {count} times"
                accepted = f"[file] sentinels = [{value:g}] in the profile, or sentinels = [] if it is a reading"
                raise refusal(path, signal, rule, accepted, value)
    if not files.files:
        if counts.gaps:
            longer = f"longer than max_gap (up to {counts.longest_gap_ms / 1000:g} s)"
            rule = f"{counts.gaps} of {counts.read} steps are {longer}: no trace is left"
            raise refusal(profile.path, "[time] max_gap", rule, "a duration above the logger's own step")
        rule = f"{counts.kept} of {counts.read} rows are of use"
        accepted = f"{LEAST_ROWS} rows or more with a time and a running status"
        raise refusal(path, "", rule, accepted)


def _entries(
    source: Source, digest: str, counts: Counts, files: into_library.TraceFiles
) -> tuple[list[TraceLine], list[dict[str, Any]]]:
    """Return a report line and a library entry for each trace."""
    path, profile = source.path, source.profile
    ids = into_library.new_ids(files.library, path, digest, files.files)
    parts = [part for part in counts.parts if part.rows >= LEAST_ROWS]
    utc = not source.clock.local or profile.time.zone is not None
    lines, entries = [], []
    for number, (identity, file, part) in enumerate(zip(ids, files.files, parts, strict=True), start=1):
        start = into_library.start_text(part.start_ms, anchored=source.clock.anchored, utc=utc, zone=profile.time.zone)
        several = f", part {number} of {len(parts)}" if len(parts) > 1 else ""
        known = source.clock.anchored and utc
        origin = f"{visible(path.name)}{several}, SHA-256 {digest}" + ("" if known else f", {start}")
        entries.append(into_library.entry(profile, path, identity, file, origin, part.start_ms if known else None))
        hours, run_hours = (part.end_ms - part.start_ms) / HOUR_MS, part.run_ms / HOUR_MS
        lines.append(TraceLine(identity, entries[-1]["file"], start, part.rows, hours, run_hours))
    return lines, entries
