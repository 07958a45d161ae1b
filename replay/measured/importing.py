"""Files into a library: the whole of an import, and its report."""

import contextlib
import functools
import tempfile
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from replay.engine.workers import Progress, quiet
from replay.ground.lock import locked
from replay.ground.refusal import Refusal, refusal, shown, visible
from replay.library import removal
from replay.library.digest import sha256_of
from replay.library.library import FILE, check_inside
from replay.measured import into_library, losses, profiles, replacing
from replay.measured.assemble import HOUR_MS, LEAST_ROWS, Assembler, Counts
from replay.measured.cells import WordRefused
from replay.measured.machines import machines_of
from replay.measured.opened import Given, opened
from replay.measured.profile import Profile, read_profile
from replay.measured.report import Report, TraceLine
from replay.measured.sources import Source, kind_of_file, open_source
from replay.measured.tag_files import as_long, has_tag_files, joined
from replay.measured.text import TextSource

MOST_WORDS = 20  # of a column that are listed


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
    replace: bool = False,
    progress: Progress = quiet,
) -> Imports:
    """Import loggers' files into a library, made if need be, one after the other; a refused one keeps none out.

    profile: the file that says what the columns are; without it, the library's own profile for a file's header.
    repair: leave out rows that are broken or out of order. replace: what came from a file of the same name goes.
    The result is an `Imports`: `reports`, one a machine of each file, `refused`, `as_json()`. Raises Refusal for a
    profile that is none.
    """
    paths, chosen = [Path(file) for file in files], None if profile is None else Path(profile)
    if chosen is not None and has_tag_files(profile_read := read_profile(chosen)):  # read once, whatever the files
        return _import_tags(paths, Path(library), profile_read, repair=repair, replace=replace)
    reports, refused = [], []
    sizes = [path.stat().st_size if path.is_file() else 0 for path in paths]
    with progress(sum(sizes), "importing") as stage:
        for path, size in zip(paths, sizes, strict=True):
            left = size

            def advance(count: int) -> None:
                nonlocal left
                count = min(count, left)  # what was packed has more bytes than the file
                left -= count
                stage.advance(count)

            take = functools.partial(import_file, repair=repair, replace=replace, advance=advance)
            try:
                with opened(path) as inside:
                    for given in inside:
                        try:
                            reports += take(given, Path(library), chosen)
                        except Refusal as error:
                            refused.append(str(error))
            except Refusal as error:
                refused.append(str(error))
            stage.advance(left)  # one that is refused or known is done with as well
    return Imports(tuple(reports), tuple(refused))


def _import_tags(paths: list[Path], library: Path, profile: Profile, *, repair: bool, replace: bool) -> Imports:
    """Import files of one tag each, those that belong together at once."""
    reports, refused = [], []
    with contextlib.ExitStack() as stack:
        try:
            inside = [given for path in paths for given in stack.enter_context(opened(path))]
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="lubetrip-")))
            sets = joined(inside, profile, folder, repair=repair)
        except Refusal as error:
            return Imports((), (str(error),))
        for given in sets:
            try:
                reports += import_file(given, library, as_long(profile), repair=repair, replace=replace)
            except Refusal as error:
                refused.append(str(error))
    return Imports(tuple(reports), tuple(refused))


def import_file(
    given: Given,
    library: Path,
    given_profile: Path | Profile | None = None,
    *,
    repair: bool = False,
    replace: bool = False,
    advance: Callable[[int], None] = lambda _: None,
) -> list[Report]:
    """Import one file into a library, whole or not at all, and return the report on each machine in it.

    given_profile: a profile or its file; without it the library's own are looked through for the file's header. A file
    whose SHA-256 stands in the library already is recognised, and nothing is done, unless it replaces it. `advance` is
    told the bytes read. Raises Refusal, naming line or key, for whatever is wrong; the library is then as before.
    """
    path = given.path
    with given.by_name():
        kind_of_file(path)
        check_inside(library, library / FILE)
        if (library / FILE).exists():
            into_library.check_toml(library)
        elif library.exists() and not library.is_dir():
            raise refusal(library, "", "is a file", "a folder for the library")
        with ThreadPoolExecutor(1) as pool:
            hashing = pool.submit(sha256_of, path)
            known = (library / FILE).exists() and not replace
            if known and (already := into_library.entries_with(library, hashing.result())):
                return [Report(path.name, hashing.result(), already=already)]
            if isinstance(given_profile, Profile):
                profile = given_profile
            else:
                profile = read_profile(given_profile) if given_profile else profiles.profile_for(path, library)
            source = open_source(path, profiles.of_first_machine(profile), repair=repair)
            profiles.check_fingerprint(path, profile, source.fingerprint)
            sources = machines_of(source, profile, given, repair=repair)
            return _import(sources, profile, library, hashing, repair=repair, replace=replace, advance=advance)


def _import(
    sources: dict[str, Source],
    profile: Profile,
    library: Path,
    hashing: Future[str],
    *,
    repair: bool,
    replace: bool,
    advance: Callable[[int], None],
) -> list[Report]:
    """Import the machines of a file that is not in the library yet."""
    read: list[tuple[str, Source, Assembler, into_library.TraceFiles]] = []
    made: list[into_library.TraceFiles] = []
    path = next(iter(sources.values())).path
    try:
        for machine, source in sources.items():
            files = into_library.TraceFiles(library)
            made.append(files)
            assembler = Assembler(source, files, repair=repair)
            read.append((machine, source, assembler, files))
            with _all_words(source):
                for block in source.blocks():
                    assembler.add(block)
                    advance(block.size // len(sources))
            _check_result(source, assembler.finish(), files)
        digest = hashing.result()
        with locked(library):
            already = [] if replace else into_library.entries_with(library, digest)
            if already:  # entered by another import meanwhile
                return [Report(path.name, digest, already=already)]
            old = replacing.replaced_by(library, path.name, digest) if replace else []
            found, given = [], set[str]()
            for machine, source, assembler, files in read:
                lines, entries = _entries(machine, source, digest, assembler.counts, files, given)
                given |= {line.id for line in lines}
                found.append((lines, entries))
            new = [
                (made, line.hours * 3600) for lines, entries in found for line, made in zip(lines, entries, strict=True)
            ]
            replacing.keep_labels(old, new)
            parts = [(files, entries) for (*_, files), (_, entries) in zip(read, found, strict=True)]
            removal.keep(library, old, f"replaced by another import of {visible(path.name)}")
            into_library.enter(library, parts, frozenset(entry.id for entry in old))
            removal.delete_files(library, old)
    finally:
        for files in reversed(made):
            files.discard()
    source = read[0][1]
    try:
        kept = None if profile.put_together else profiles.keep(profile, library, source.fingerprint)
    except Refusal as error:  # the traces are in, so this must not look as if they were not
        kept = f"profile NOT kept: {error}"
    reports = []
    for (machine, one, assembler, _), (lines, _) in zip(read, found, strict=True):
        notes = [*one.notes(), *([kept] if kept else [])]
        told = (str(profile.path), one.fingerprint, notes, assembler.counts, lines, assembler.doubts())
        reports.append(Report(path.name, digest, machine, *told, replaced=[entry.id for entry in old]))
    return reports


@contextlib.contextmanager
def _all_words(source: Source) -> Iterator[None]:
    """Let the refusal of one word that cannot be read tell all of the file's: one run of the command is enough."""
    try:
        yield
    except WordRefused as error:
        if not isinstance(source, TextSource):
            raise
        words = source.words()
        if sum(map(len, words.values())) == 1:
            raise
        told = "; ".join(f"{name}: {', '.join(map(shown, some[:MOST_WORDS]))}" for name, some in words.items())
        raise Refusal(f"{error}. All that cannot be read in it: {visible(told)}") from None


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
            accepted = "a duration above the logger's own step; of a log written on change on_change and longest_hold"
            raise refusal(profile.path, "[time] max_gap", rule, accepted)
        rule = f"{counts.kept} of {counts.read} rows are usable"
        accepted = f"{LEAST_ROWS} rows or more with a time and a running status"
        raise refusal(path, "", rule, accepted)


def _entries(
    machine: str,
    source: Source,
    digest: str,
    counts: Counts,
    files: into_library.TraceFiles,
    given: set[str],
) -> tuple[list[TraceLine], list[dict[str, Any]]]:
    """Return a report line and a library entry for each trace; given: ids that are no longer free."""
    path, profile = source.path, source.profile
    stem = f"{path.stem} {machine}" if machine else path.stem
    ids = into_library.new_ids(files.library, stem, digest, files.files, given)
    parts = [part for part in counts.parts if part.rows >= LEAST_ROWS]
    utc = not source.clock.local or profile.time.zone is not None
    lines, entries = [], []
    for number, (identity, file, part) in enumerate(zip(ids, files.files, parts, strict=True), start=1):
        start = into_library.start_text(part.start_ms, anchored=source.clock.anchored, utc=utc, zone=profile.time.zone)
        several = f", part {number} of {len(parts)}" if len(parts) > 1 else ""
        known = source.clock.anchored and utc
        origin = f"{visible(path.name)}{several}, SHA-256 {digest}" + ("" if known else f", {start}")
        entry = into_library.entry(profile, path, identity, file, origin, part.start_ms if known else None)
        entries.append(
            entry | losses.as_entry(counts, constant=profile.channels["suction_pressure"].constant is not None)
        )
        hours, run_hours = (part.end_ms - part.start_ms) / HOUR_MS, part.run_ms / HOUR_MS
        lines.append(TraceLine(identity, entries[-1]["file"], start, part.rows, hours, run_hours))
    return lines, entries
