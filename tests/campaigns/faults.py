"""Faults laid on every long command: killed at a random moment, no room on the disk, two at once, damaged caches.

After each, what stood there before has to stand there still, or the whole of what was asked for; and the command given
again, with nothing in its way, has to come out as if nothing had been. What a run of the command without faults
leaves is what each is held against.
"""

import contextlib
import hashlib
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import click

from replay.ground.refusal import Refusal
from replay.library import read_library
from tests.conftest import SETTINGS, entry, trace_csv
from tests.results import close, record_option
from tests.support.measured import HEADER, PROFILE

LIMIT_S = 600.0
PROGRAM = "from replay.cli import main; main()"
FAULT = "must_trip = { earliest_s = 100.0, deadline_s = 250.0 }"
PLAIN = (0, 1, 3)
ENDED = (*PLAIN, 2, -signal.SIGKILL)


@dataclass(frozen=True)
class Command:
    """Arguments, in a folder with the library LIB, its settings, logs and their profile; what it may leave or change."""

    arguments: tuple[str, ...]
    targets: tuple[str, ...]


COMMANDS = {
    "score": Command(("score", "LIB", "--json", "out.json", "--junit", "out.xml"), ("out.json", "out.xml")),
    "record": Command(("score", "LIB", "--record", "kept"), ("kept",)),
    "report": Command(("report", "LIB", "-o", "out.html"), ("out.html",)),
    "triage": Command(("triage", "LIB", "--csv", "out.csv", "--html", "out.html"), ("out.csv", "out.html")),
    "import": Command(("import", "log.csv", "more.csv", "--profile", "profile.toml", "--to", "LIB"), ("LIB",)),
    "replace": Command(("import", "log.csv", "--profile", "profile.toml", "--to", "OLD", "--replace"), ("OLD",)),
    "label": Command(("label", "LIB", "fault", "--undecided", "--by", "me", "--note", "x"), ("LIB",)),
    "remove": Command(("remove", "LIB", "fault", "--by", "me", "--note", "x"), ("LIB",)),
    "synth": Command(("synth", "made", "--count", "3", "--seed", "1", "--families", "power-dip"), ("made",)),
    "tune": Command(("tune", "LIB", "--vary", "trip_delay=50s,60s", "--quick", "--out", "tuned"), ("tuned",)),
    "demo": Command(("demo", "shown"), ("shown",)),
    "tolerances": Command(("tolerances", "LIB", "--draws", "2", "--json", "out.json"), ("out.json",)),
    "bench": Command(("bench", "LIB", "-o", "out.html"), ("out.html",)),
    "show": Command(("show", "LIB/fault.csv", "-o", "out.png"), ("out.png",)),
    "vectors": Command(("vectors", "told"), ("told",)),
    "export": Command(("export", "LIB/settings.toml", "--to", "c", "--out", "out.h"), ("out.h",)),
    "sources": Command(("export-sources", "out.zip"), ("out.zip",)),
    "guess": Command(("import", "log.csv", "--guess", "--out", "drafted.toml"), ("drafted.toml",)),
    "engine c": Command(("score", "LIB", "--engine", "c", "--json", "out.json"), ("out.json",)),
    "compiled": Command(("score", "LIB", "--engine", "compiled", "--json", "out.json"), ("out.json",)),
}
COMPILING = ("synth", "tune", "tolerances", "engine c", "compiled")  # the first time
NOT_AGAIN = ("record", "tune", "demo", "remove")  # what is there already is refused
EDITS = ("import", "label", "remove", "replace", "synth")


def prepare(folder: Path) -> None:
    """Write what the commands read."""
    library = folder / "LIB"
    library.mkdir(parents=True)
    (library / "settings.toml").write_text(SETTINGS)
    text = 'settings = "settings.toml"\n' + entry("fault", FAULT)
    for number in range(3):
        text += entry(f"quiet-{number}", "ride_through = true")
        (library / f"quiet-{number}.csv").write_text(trace_csv(300 + number, lambda s: 120.0))
    (library / "fault.csv").write_text(trace_csv(300, lambda s: 120.0 if s < 100 else 5.0))
    (library / "library.toml").write_text(text)
    (folder / "profile.toml").write_text(PROFILE)
    rows = "".join(f"{second};3.5{second % 10};2.0;1\n" for second in range(2000))
    (folder / "log.csv").write_text(HEADER + rows)
    (folder / "more.csv").write_text(HEADER + rows.replace("3.5", "3.6"))
    started = run(folder, Command(("import", "log.csv", "--profile", "profile.toml", "--to", "OLD"), ()))
    labelled = run(folder, Command(("label", "OLD", "log", "--ride-through", "--by", "me", "--note", "seen"), ()))
    if started.returncode or labelled.returncode:
        raise SystemExit(f"the commands do not work here: {started.stderr}{labelled.stderr}")


def start(folder: Path, command: Command, **how: object) -> "subprocess.Popen[str]":
    """Start a command in a folder, with a cache of its own there, as the leader of a session."""
    program = [sys.executable, "-c", PROGRAM, *command.arguments]
    root = str(Path(__file__).parents[2])
    kept = folder / "cache"
    environment = {**os.environ, "PYTHONPATH": root, "XDG_CACHE_HOME": str(kept), "COLUMNS": "80"}
    return subprocess.Popen(  # type: ignore[call-overload,no-any-return]
        program, cwd=folder, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        start_new_session=True, **how,
    )  # fmt: skip


def run(folder: Path, command: Command, **how: object) -> "subprocess.CompletedProcess[str]":
    """Run a command to its end."""
    with start(folder, command, **how) as process:
        told, said = process.communicate(timeout=LIMIT_S)
    return subprocess.CompletedProcess(command.arguments, process.returncode, told, said)


def digests(folder: Path, names: tuple[str, ...]) -> dict[str, str]:
    """Return the files below some names with their digests; hidden ones, which are no result, are left out."""
    found = {}
    for name in names:
        for path in sorted([folder / name, *(folder / name).rglob("*")]):
            shown = path.relative_to(folder)
            if path.is_file() and not any(part.startswith(".") for part in shown.parts):
                content = path.read_bytes() if path.suffix != ".png" else b""
                found[shown.as_posix()] = hashlib.sha256(content).hexdigest()
    return found


def whole(found: dict[str, str], before: dict[str, str], after: dict[str, str]) -> list[str]:
    """Return the files that are neither as they were nor as they were asked for."""
    return [name for name, digest in found.items() if digest not in (before.get(name), after.get(name))]


class Bench:
    """A folder that is prepared once and copied for each fault, and what each command makes of it without one."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.original = folder / "original"
        prepare(self.original)
        self.expected: dict[str, dict[str, str]] = {}
        self.took: dict[str, float] = {}
        for name, command in COMMANDS.items():  # the first fills the cache, which is copied with the rest
            for _ in range(1 + (name in COMPILING)):
                place = self.fresh()
                begun = time.monotonic()
                done = run(place, command)
                self.took[name] = time.monotonic() - begun
                if done.returncode not in PLAIN:
                    raise SystemExit(f"{name} does not work here: {done.stderr}")
                (place / "cache").mkdir(exist_ok=True)
                shutil.copytree(place / "cache", self.original / "cache", dirs_exist_ok=True)
            self.expected[name] = digests(place, command.targets)

    def fresh(self) -> Path:
        """Return a copy of the folder."""
        shutil.rmtree(self.folder / "work", ignore_errors=True)
        shutil.copytree(self.original, self.folder / "work")
        return self.folder / "work"

    def check(self, place: Path, name: str, *, again: bool = True) -> Iterator[str]:
        """Yield what is wrong after a fault; again: the command is given once more, and has to come out whole."""
        command, expected = COMMANDS[name], self.expected[name]
        before = digests(self.original, command.targets)
        if several := name in EDITS and not read(place, command.targets[0]):
            yield "the library cannot be read"
        after = self._allowed(name)
        found = digests(place, command.targets)
        if broken := [
            file for file in whole(found, before, after) if not file.endswith(("library.toml", "removed.toml"))
        ]:
            yield f"neither as before nor as asked for: {', '.join(broken)}"
        if lost := [file for file in before if file not in found and file in expected and not several]:
            yield f"lost: {', '.join(lost)}"
        if not again:
            return
        done = run(place, command)
        if done.returncode not in PLAIN and not (name in NOT_AGAIN and done.returncode == 2):
            yield f"given again it ends with {done.returncode}: {done.stderr.strip()[:200]}"
        elif missing := [file for file in expected if file not in digests(place, command.targets)]:
            yield f"given again it leaves out: {', '.join(missing)}"

    def _allowed(self, name: str) -> dict[str, str]:
        return self.expected[name]


def read(place: Path, library: str) -> bool:
    """Tell whether a library can be read: every entry has its file; one that is not there yet is fine."""
    if not (place / library / "library.toml").exists():
        return library in ("made", "new")
    try:
        read_library(place / library)
    except Refusal:
        return False
    return True


def killed(bench: Bench, name: str, rng: random.Random) -> Iterator[str]:
    """Kill a command, and all that it started, at a random moment."""
    place = bench.fresh()
    process = start(place, COMMANDS[name])
    time.sleep(rng.uniform(0, 1.05) * bench.took[name])
    kill(process)
    yield from bench.check(place, name)


def kill(process: "subprocess.Popen[str]") -> None:
    """Kill the session of a process that was started as its leader."""
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.communicate()


def full(bench: Bench, name: str, rng: random.Random) -> Iterator[str]:
    """Let no file grow beyond a random size, which fails as a full disk does."""
    place = bench.fresh()
    most = int(2 ** rng.uniform(0, 16))
    done = run(place, COMMANDS[name], preexec_fn=lambda: _limit(most))
    if done.returncode not in (*PLAIN, 2):
        yield f"files of {most} bytes: ends with {done.returncode}: {done.stderr.strip()[-200:]}"
    if done.returncode == 2 and len(done.stderr.splitlines()) not in (1, 2):
        yield f"files of {most} bytes: {done.stderr.strip()[:300]}"
    yield from bench.check(place, name)


def no_space(bench: Bench, name: str, rng: random.Random) -> Iterator[str]:
    """Give a command a disk of its own with little room left, or none; what it left there is looked at elsewhere."""
    place, free = bench.folder / "work", rng.choice((0, 0, int(2 ** rng.uniform(12, 20))))
    with small_disk(bench.folder / "disk") as disk:
        shutil.copytree(bench.original, disk / "work")
        left = os.statvfs(disk).f_bavail * os.statvfs(disk).f_frsize - free
        (disk / "ballast").write_bytes(bytes(max(0, left)))
        done = run(disk / "work", COMMANDS[name])
        shutil.rmtree(place, ignore_errors=True)
        shutil.copytree(disk / "work", place)
    if done.returncode not in (*PLAIN, 2):
        yield f"{free} bytes left: ends with {done.returncode}: {done.stderr.strip()[-200:]}"
    if done.returncode == 2 and len(done.stderr.splitlines()) not in (1, 2):
        yield f"{free} bytes left: {done.stderr.strip()[:300]}"
    yield from bench.check(place, name)


@contextlib.contextmanager
def small_disk(folder: Path) -> Iterator[Path]:
    """Mount a disk of 64 MB in memory, which takes root. Raises OSError where it cannot be had."""
    folder.mkdir(exist_ok=True)
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64m", "tmpfs", str(folder)], capture_output=True, check=False
    )
    if mounted.returncode:
        raise OSError(mounted.stderr.decode().strip())
    try:
        yield folder
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


def can_mount() -> bool:
    """Say whether a disk can be had here."""
    with tempfile.TemporaryDirectory() as folder, contextlib.suppress(OSError), small_disk(Path(folder) / "disk"):
        return True
    return False


def _limit(most: int) -> None:
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))


def two(bench: Bench, name: str, rng: random.Random) -> Iterator[str]:
    """Start another edit of the same library, or the same command, beside it: both come out, or one is told."""
    place = bench.fresh()
    library = COMMANDS[name].targets[0]
    other = COMMANDS[name]
    if library == "LIB":
        trace = f"quiet-{rng.randrange(3)}"
        other = Command(("label", "LIB", trace, "--undecided", "--by", "other", "--note", "y"), ("LIB",))
    first = start(place, COMMANDS[name])
    time.sleep(rng.uniform(0, 0.5) * bench.took[name])
    second = start(place, other)
    ended = [(process, *process.communicate(timeout=LIMIT_S)) for process in (first, second)]
    for process, _, said in ended:
        if process.returncode not in (*PLAIN, 2):
            yield f"two at once: ends with {process.returncode}: {said.strip()[-200:]}"
    if library == "LIB" and name in EDITS:
        if second.returncode:
            yield f"two at once: the label is refused: {ended[1][2].strip()[:200]}"
        yield from _edits_lost(place, name, other.arguments[2])
    if not any(process.returncode in PLAIN for process, *_ in ended):
        yield "two at once: neither comes out"


def _edits_lost(place: Path, name: str, labelled: str) -> Iterator[str]:
    """Yield what is missing of two edits that both came out."""
    notes = {one.id: one.note for one in read_library(place / "LIB").entries}
    if "y" not in notes.get(labelled, "") or (name == "label" and "x" not in notes["fault"]):
        yield "two at once: a label is lost"
    if name == "import" and not {"log", "more"} <= notes.keys():
        yield "two at once: a trace is lost"
    if name == "remove" and "fault" in notes:
        yield "two at once: a removed trace is back"


def damaged(bench: Bench, name: str, rng: random.Random) -> Iterator[str]:
    """Spoil files of the cache: cut, flipped, emptied, made folders, protected; the result is the same."""
    place = bench.fresh()
    for path in sorted((place / "cache").rglob("*")):
        if path.is_file() and rng.random() < 0.7:
            spoil(path, rng)
    done = run(place, COMMANDS[name])
    if done.returncode not in PLAIN:
        yield f"damaged cache: ends with {done.returncode}: {done.stderr.strip()[-300:]}"
    found, expected = digests(place, COMMANDS[name].targets), bench.expected[name]
    if done.returncode in PLAIN and (changed := [n for n, digest in found.items() if expected.get(n) != digest]):
        yield f"damaged cache: another result: {', '.join(changed)}"


def spoil(path: Path, rng: random.Random) -> None:
    """Damage a file in one of the ways of disks and of people."""
    content = bytearray(path.read_bytes())
    way = rng.choice(("cut", "flip", "empty", "folder", "other"))
    if way == "folder":
        path.unlink()
        path.mkdir()
        return
    if way == "cut":
        del content[rng.randrange(len(content) + 1) :]
    elif way == "flip" and content:
        for _ in range(rng.choice((1, 8, 64))):
            content[rng.randrange(len(content))] ^= 1 << rng.randrange(8)
    elif way == "empty":
        content.clear()
    elif way == "other":
        content = bytearray(rng.randbytes(len(content)))
    path.write_bytes(content)


KINDS: dict[str, Callable[[Bench, str, random.Random], Iterator[str]]] = {
    "killed": killed,
    "full disk": full,
    "two at once": two,
    "damaged cache": damaged,
}


MOUNTED = {"no space": no_space}  # in the campaign alone: tests do not run as root everywhere


def lay(
    minutes: float,
    seed: int,
    only: tuple[str, ...] = (),
    most: int | None = None,
    kinds: dict[str, Callable[[Bench, str, random.Random], Iterator[str]]] = KINDS,
) -> tuple[Counter[str], list[str]]:
    """Lay faults for so many minutes, or so many of them; return how many of each kind, and the findings."""
    rng, counts, findings = random.Random(seed), Counter[str](), list[str]()  # noqa: S311 - a sample, not a secret
    with tempfile.TemporaryDirectory(prefix="lubetrip-faults-") as folder:
        bench = Bench(Path(folder))
        ends = time.monotonic() + 60 * minutes
        turns = [(kind, name) for name in COMMANDS for kind in kinds if not only or name in only]
        while time.monotonic() < ends and (most is None or counts.total() < most):
            if counts.total() % len(turns) == 0:
                rng.shuffle(turns)
            kind, name = turns[counts.total() % len(turns)]
            counts[kind] += 1
            for finding in kinds[kind](bench, name, rng):
                findings.append(f"{name}, {kind}: {finding}")
                click.echo(findings[-1])
    return counts, findings


@click.command()
@click.option("--minutes", default=10.0, show_default=True, help="How long faults are laid.")
@click.option("--seed", default=1, show_default=True)
@click.option("--command", "only", multiple=True, type=click.Choice(sorted(COMMANDS)), help="Only these.")
@record_option
def faults(minutes: float, seed: int, only: tuple[str, ...], *, record: bool) -> None:
    """Kill, starve and disturb every long command; nothing may be lost, half written or judged otherwise."""
    mounted = MOUNTED if can_mount() else {}
    if not mounted:
        print("no small disk without root: a full disk is a limit of file size here")
    counts, findings = lay(minutes, seed, only, kinds=KINDS | mounted)
    told = ", ".join(f"{count} {kind}" for kind, count in sorted(counts.items()))
    close(
        f"{counts.total()} faults ({told}) over {len(only or COMMANDS)} commands: {len(findings)} findings",
        record=record,
    )
    raise SystemExit(bool(findings))
