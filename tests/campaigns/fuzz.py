"""Spoil files for every reader, over and over: each is read or refused, soon, and in bounded memory.

A process of its own reads for each reader, so that a crash of a library, a hang and
the memory of one are seen as findings. What was being read then is kept.
"""

import json
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from types import FrameType

import click

from tests.results import close, record_option
from tests.support.hostile import READERS, Reader, examine, prepare, spoiled

ROOM = 1 << 30  # bytes of address space that reading may take beyond what the program needs
LIMIT_S = 20  # of one example, on a busy machine
SLOW = {"MDF log": 20, "draft for MDF": 20, "CSV log": 4, "CSV log with dates": 4}  # one example in so many
KEPT = 10  # findings of a reader


class TooLongError(BaseException):
    """Raised by the alarm in the midst of an example."""


def examples(reader: Reader, seed: int) -> Iterator[bytes]:
    """Yield spoiled content without end, the same for the same seed."""
    rng, seeds = random.Random(seed), reader.seeds()  # noqa: S311 - a sample, not a secret
    while True:
        count = rng.choice((1, 1, 1, 2, 3, 6))
        changes = [(rng.randrange(1000), rng.randrange(1 << 32), rng.randrange(1 << 32)) for _ in range(count)]
        yield spoiled(rng.choice(seeds), changes)


def find(reader: Reader, folder: Path, content: bytes) -> str | None:
    """Read one example; return what is wrong with how that went, or None."""
    try:
        examine(reader, folder, content)
    except TooLongError:
        return f"no answer within {LIMIT_S} s"
    except Exception as error:  # noqa: BLE001 - whatever comes out is the finding
        return f"{type(error).__name__}: {str(error)[:200]}"
    return None


def run(name: str, count: int, seed: int, current: Path) -> dict[str, object]:
    """Read so many examples in this process and return what happened; `current` holds the one being read."""
    reader, findings, longest = READERS[name], [], 0.0
    signal.signal(signal.SIGALRM, too_long)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        prepare(folder)
        refused = [good for good in reader.seeds() if examine(reader, folder, good) is None]
        findings += ["a good file is refused"] * bool(refused)
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        _limit_memory()
        source = examples(reader, seed)
        for _ in range(count):
            content = next(source)
            current.write_bytes(content)
            begun = time.perf_counter()
            signal.alarm(LIMIT_S)
            finding = find(reader, folder, content)
            signal.alarm(0)
            longest = max(longest, time.perf_counter() - begun)
            if finding is not None and finding not in findings:
                findings.append(finding)
                shutil.copy(current, current.with_suffix(f".{len(findings)}"))
            if len(findings) >= KEPT:
                break
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    return {"examples": count, "findings": findings, "longest_s": longest, "grown_mb": grown / 1024}


def too_long(_number: int, _frame: FrameType | None) -> None:
    """End an example that takes too long."""
    raise TooLongError


def _limit_memory() -> None:
    used = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (used + ROOM, used + ROOM))


def apart(name: str, count: int, seed: int, current: Path) -> dict[str, object]:
    """Do the same in a process of its own, whose end is a finding too."""
    arguments = [sys.executable, "-m", "tests.campaigns.fuzz", name, str(count), str(seed), str(current)]
    done = subprocess.run(arguments, capture_output=True, text=True, check=False)
    if done.returncode:
        said = done.stderr.strip().splitlines()[-1:] or ["nothing said"]
        return {"examples": 0, "findings": [f"ended with {done.returncode}: {said[0]}"], "longest_s": 0, "grown_mb": 0}
    told: dict[str, object] = json.loads(done.stdout.splitlines()[-1])
    return told


@click.command()
@click.option("--examples", "count", default=2000, show_default=True, metavar="N", help="Files for each reader.")
@click.option("--seed", default=1, show_default=True, help="Start of the random numbers.")
@click.option("--reader", "names", multiple=True, type=click.Choice(list(READERS)), help="This reader alone.")
@click.option("--keep", type=click.Path(path_type=Path), default=Path("fuzz-findings"), help="Where findings go.")
@record_option
def fuzz(count: int, seed: int, names: tuple[str, ...], keep: Path, *, record: bool) -> None:
    """Spoil files for every reader. Exit status 0 nothing found, 1 findings, each with its file."""
    begun, total, found = time.perf_counter(), 0, 0
    keep.mkdir(exist_ok=True)
    for name in names or READERS:
        current = keep / f"{name.replace(' ', '-')}.bin"
        told = apart(name, max(1, count // SLOW.get(name, 1)), seed, current)
        print(
            f"{name}: {told['examples']} files, longest {told['longest_s']:.2f} s, memory +{told['grown_mb']:.0f} MB",
            flush=True,
        )
        for finding in told["findings"]:  # type: ignore[attr-defined]
            print(f"  FOUND {finding}; see {current}.*", flush=True)
            found += 1
        if not told["findings"]:
            current.unlink(missing_ok=True)
        total += int(told["examples"])  # type: ignore[call-overload]
    if not any(keep.iterdir()):
        keep.rmdir()
    read = f"{total} spoiled files for {len(names or READERS)} readers from seed {seed}"
    close(f"{read} in {time.perf_counter() - begun:.0f} s: {found} findings", record=record)
    if found:
        raise SystemExit(1)


if __name__ == "__main__":
    print(json.dumps(run(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), Path(sys.argv[4]))))
