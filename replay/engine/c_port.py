"""Whole traces through the C port that ships, built with the host's compiler and driven by ctypes.

`replay_trace` gives what `replay.engine.portable.replay_trace` gives, tick for tick. The
library is kept on disk under the digest of its sources and the compiler.
"""

import ctypes
import functools
import hashlib
import os
import shlex
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from firmware_ref.digest import sources_digest
from replay.engine.obeying import POSITION
from replay.engine.portable import Array, Machine, Replay
from replay.ground.cache import keep, machine_key, project_cache, read_kept
from replay.ground.refusal import refusal
from replay.settings import Settings
from replay.trace import AnyTrace

PORT = ("lubetrip.c", "lubetrip.h", "lubetrip_generated.h")  # what a target takes
RUNNER = "trace_run.c"  # beside it, on the host alone
FLAGS = ("-std=c99", "-O2", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-pedantic", "-shared", "-fPIC")


def firmware_folder() -> Path:
    """Return the folder `firmware_ref`. Raises Refusal where what this engine needs of it is not installed."""
    folder = Path(__file__).parents[2] / "firmware_ref"
    for path in (*(folder / "c" / name for name in PORT), folder / "host" / RUNNER):
        if not path.is_file():
            raise refusal(path, "", "the C engine needs this file", "an installation with firmware_ref/")
    return folder


def sources(folder: Path | None = None) -> list[Path]:
    """Return the C files to compile: the port, or another one in a folder, and what runs traces through it."""
    firmware = firmware_folder()
    return [(folder or firmware / "c") / PORT[0], firmware / "host" / RUNNER]


def port_digest(folder: Path | None = None) -> str:
    """Return the SHA-256 over the sources of the C engine, of the port or of another in a folder."""
    port, runner = sources(folder)
    return sources_digest([*(port.with_name(name) for name in PORT), runner])


def compiler() -> list[str]:
    """Return the C compiler with its options, as CC has them ("gcc -O2", "ccache gcc"). Raises Refusal without one."""
    said = os.environ.get("CC", "").strip() or "cc"
    accepted = "gcc or clang installed, or named in CC, options behind it"
    try:
        name, *options = shlex.split(said)
    except ValueError as error:
        raise refusal("--engine c", "CC", f"cannot be read ({error})", accepted, said) from None
    path = shutil.which(said)  # a path with blanks in it
    if path is not None:
        return [path]
    path = shutil.which(name)
    if path is None:
        raise refusal("--engine c", "", f"no C compiler '{name}'", accepted)
    return [path, *options]


def build(folder: Path | None = None) -> Path:
    """Return the shared library of the port, built if it is not on disk yet.

    folder: another C port to build there, with all of its files. Raises Refusal
    without a compiler and for a source that does not compile.
    """
    port, runner = sources(folder)
    path, *options = compiler()
    key = hashlib.sha256(f"{port_digest(folder)} {path} {options} {FLAGS} {machine_key()}".encode()).hexdigest()[:16]
    base = folder or project_cache()
    library = base / f"c-{key}.so"
    if read_kept(library) is None:
        with tempfile.TemporaryDirectory(dir=base) as work:
            part = Path(work) / library.name
            command = [path, *options, *FLAGS, f"-I{port.parent}", str(port), str(runner), "-o", str(part)]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            if done.returncode:
                said = (done.stderr.strip() or f"{path} ends with {done.returncode}").splitlines()[0]
                raise refusal(port.parent, "", f"does not compile: {said}", "a clean C port")
            if not keep(library, part.read_bytes()):
                raise refusal(library, "", "the C engine cannot be kept here", "room on the disk, or another engine")
    return library


def load(library: Path) -> Any:
    """Load a library built by `build`; its functions take pointers and 64-bit counts."""
    port = ctypes.CDLL(str(library))
    pointer, count = ctypes.c_void_p, ctypes.c_int64
    port.lubetrip_run_trace.argtypes = [pointer, count, count, pointer, pointer, count, *[pointer] * 4]
    port.lubetrip_run_trace.restype = None
    port.lubetrip_run_steps.argtypes = [pointer, count, *[pointer] * 3]
    port.lubetrip_run_steps.restype = None
    port.lubetrip_first_fault.argtypes = [pointer]
    port.lubetrip_first_fault.restype = ctypes.c_int32
    port.lubetrip_derive.argtypes = [pointer]
    port.lubetrip_derive.restype = None
    port.lubetrip_power_up.argtypes = [pointer] * 2
    port.lubetrip_power_up.restype = None
    return port


@functools.cache
def _port() -> Any:
    return load(build())


def _obey(
    columns: Array,
    values: Any,
    memory: Any,
    _inputs: Any,
    _results: Any,
    changes: Any,
    stops: Any,
    carry: Any,
    trail: Any,
) -> None:
    """Run on as `replay.engine.obeying.obey` does, in C; values, memory and trail are int32."""
    noted = trail[carry[POSITION] :].ctypes.data if len(trail) else None
    arrays = (changes.ctypes.data, stops.ctypes.data, carry.ctypes.data, noted)
    machine = (values.ctypes.data, memory.ctypes.data, len(changes))
    _port().lubetrip_run_trace(columns.ctypes.data, columns.shape[1], columns.shape[1], *machine, *arrays)


def machine(settings: Settings) -> Machine:
    """Return a machine that obeys the C port; trails are int32[n, 25] in C order. Raises Refusal without a compiler."""
    made = Machine(settings, _obey, np.ascontiguousarray)
    made.values, made.memory = made.values.astype(np.int32), made.memory.astype(np.int32)
    _port().lubetrip_power_up(made.memory.ctypes.data, made.values.ctypes.data)
    return made


def replay_trace(trace: AnyTrace, settings: Settings) -> Replay:
    """Run the C port over a trace from power-up of a machine at rest. Raises Refusal without a C compiler."""
    return machine(settings).replay(trace)
