"""Drive a port through the vectors by the line protocol of firmware_ref/README.md.

The port is a command whose standard input and output speak the protocol, or a
board on a serial line. The first difference ends the run.
"""

import contextlib
import datetime as dt
import os
import re
import select
import shlex
import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Protocol

from protect import outputs, ranges, state
from replay.engine import logic_digest
from replay.ground.refusal import LONGEST_PART, Refusal, refusal, shown, visible
from replay.port.vectors import Case, Vectors, build, line, read_vectors

SCHEMA = "lubetrip-conform/1"
TIMEOUT_S = 10.0
BAUD = 115200
LONGEST = 4096  # bytes of a line; the longest right one has some 400
_INTEGER = re.compile(r"-?\d{1,10}", re.ASCII)
# A board may talk while it boots: so many lines before its answer to hello are passed over.
BOOT_LINES = 100
TICK_BITS = ("0", "30", "32")


class Link(Protocol):
    """A way to a port: lines there and back."""

    name: str

    def send(self, text: str) -> None:
        """Send one line."""

    def receive(self) -> str:
        """Return the next line without its end. Raises Refusal when none comes in time."""


@dataclass(frozen=True)
class Mismatch:
    """The first difference: where, what was asked, and the answers by name where they differ."""

    where: str
    asked: str
    inputs: dict[str, int]
    expected: str
    got: str
    form: str  # why the answer is none of the wanted form; empty where it is and its numbers differ
    differing: dict[str, tuple[int, int | None]]


@dataclass(frozen=True)
class Outcome:
    """What a port did with a set of vectors; counts of what was compared and found equal."""

    port: str
    steps: int
    checks: int
    ticks: int
    checks_supported: bool
    mismatch: Mismatch | None


def place_names(module: Any, first: str, size: str) -> list[str]:
    """Return a name for each place of an array whose places a module of `protect` names in order."""
    names = list(vars(module))
    named = {getattr(module, name): name.lower() for name in names[names.index(first) : names.index(size)]}
    return [named.get(place, f"{named.get(place - 1)}_for") for place in range(getattr(module, size))]


STEP_NAMES = place_names(state, "STATE", "STATE_SIZE") + place_names(outputs, "RUN_PERMISSION", "OUTPUTS_SIZE")
INPUT_NAMES = [row[0] for row in ranges.INPUTS]
CHECK_NAMES = ["first_fault", *(name.lower() for name in ("SLOPE", "PERCENT_SCALE", "RELOAD_LEVEL"))]


class DifferenceError(Exception):
    """Raised inside a run at the first difference."""

    def __init__(self, mismatch: Mismatch) -> None:
        super().__init__(mismatch.where)
        self.mismatch = mismatch


class _Run:
    """One run over one link, counting as it goes."""

    def __init__(self, link: Link) -> None:
        self.link = link
        self.steps = self.checks = self.ticks = 0
        self.checks_supported = True
        self.expected_before = ""

    def ask(self, where: str, text: str) -> str:
        """Ask and return the answer. Raises Refusal that tells where the port was asked what."""
        try:
            self.link.send(text)
            return self.link.receive()
        except Refusal as error:
            raise Refusal(f"{error}; asked at {where}: {text}") from None

    def hello(self) -> tuple[int, str]:
        """Return (bits of the port's tick, what it says it is)."""
        answer = self.ask("the beginning", "hello")
        for _ in range(BOOT_LINES):
            word, _, rest = answer.partition(" ")
            bits, _, name = rest.partition(" ")
            if word == "port" and bits in TICK_BITS:
                return int(bits), visible(name.strip())[:LONGEST_PART]
            if word == "port" and _INTEGER.fullmatch(bits):
                raise refusal(self.link.name, "", "no width of a tick counter", ", ".join(TICK_BITS), answer)
            answer = self._after_boot_talk(answer)
        raise refusal(self.link.name, "", "no answer to hello", "port TICK_BITS NAME", answer)

    def _after_boot_talk(self, heard: str) -> str:
        """Return the next line. Raises Refusal that shows the last one, which was no answer to hello."""
        try:
            return self.link.receive()
        except Refusal as error:
            raise Refusal(f"{error}; asked: hello; heard {shown(heard)}, wanted port TICK_BITS NAME") from None

    def compare(
        self, where: str, asked: str, expected: str, names: list[str], inputs: dict[str, int] | None = None
    ) -> None:
        """Ask and compare. Raises DifferenceError."""
        got = self.ask(where, asked)
        if got.split() != expected.split():
            form = _form_fault(expected, got)
            if not form and got.split() == self.expected_before.split():
                form = "this is what was wanted in answer to the line before: one line for each line"
            differing = _by_name(names, expected, got)
            raise DifferenceError(Mismatch(where, asked, inputs or {}, expected, got, form, differing))
        self.expected_before = expected

    def case(self, number: int, case: Case) -> None:
        where = f"case {number} ({case.purpose})"
        self.compare(f"{where}, power-up", line("set", case.settings), line("state", case.start), STEP_NAMES)
        for count, tick in enumerate(case.ticks, start=1):
            inputs = dict(zip(INPUT_NAMES, tick.inputs, strict=True))
            expected = line("done", (*tick.state, *tick.outputs))
            self.compare(f"{where}, tick {count}", line("step", tick.inputs), expected, STEP_NAMES, inputs)
            self.steps += 1

    def settings_checks(self, vectors: Vectors) -> None:
        for number, check in enumerate(vectors.checks, start=1):
            asked = line("check", check.values)
            if number == 1 and self.ask("settings check 1", asked) == "none":
                self.checks_supported = False
                return
            expected = line("checked", (check.fault, *check.derived))
            self.compare(f"settings check {number}", asked, expected, CHECK_NAMES)
            self.checks += 1

    def tick_differences(self, vectors: Vectors, bits: int) -> None:
        for difference in vectors.differences:
            if difference.bits == bits:
                asked = line("ticks", (difference.now, difference.before))
                self.compare("tick difference", asked, line("elapsed", (difference.elapsed,)), ["elapsed"])
                self.ticks += 1


def _form_fault(expected: str, got: str) -> str:
    """Say why an answer is none of the wanted form; empty for one that is."""
    wanted, *places = expected.split()
    word, *numbers = got.split() or [""]
    if word != wanted:
        return f"`{wanted}` and {len(places)} numbers are wanted, and no other line between"
    if len(numbers) != len(places):
        return f"{len(numbers)} numbers after `{wanted}`, {len(places)} are wanted"
    foreign = next((number for number in numbers if not _INTEGER.fullmatch(number)), None)
    return "" if foreign is None else f"{shown(foreign)} is no whole number in plain digits"


def _by_name(names: list[str], expected: str, got: str) -> dict[str, tuple[int, int | None]]:
    """Return {name: (expected, got)} of the numbers that differ; got is None where none came."""
    wanted = [int(number) for number in expected.split()[1:]]
    word, *numbers = got.split() or [""]
    answered: list[int | None] = [int(n) if _INTEGER.fullmatch(n) else None for n in numbers]
    if not expected.startswith(f"{word} "):
        answered = []
    answered += [None] * (len(wanted) - len(answered))
    pairs = zip(names, wanted, answered, strict=False)
    return {name: (want, have) for name, want, have in pairs if want != have}


def conform(vectors: Vectors, link: Link, tick: Callable[[Case], object] = lambda _: None) -> Outcome:
    """Drive a port through all vectors; `tick` is called after each case.

    Raises Refusal when the port does not answer at all. A port that states a tick
    of 0 bits has no tick differences to answer.
    """
    run = _Run(link)
    bits, name = run.hello()
    mismatch = None
    try:
        run.settings_checks(vectors)
        run.tick_differences(vectors, bits)
        for number, case in enumerate(vectors.cases, start=1):
            run.case(number, case)
            tick(case)
    except DifferenceError as difference:
        mismatch = difference.mismatch
    link.send("bye")
    return Outcome(name, run.steps, run.checks, run.ticks, run.checks_supported, mismatch)


@dataclass(frozen=True)
class Conformance:
    """What a port did with the vectors, and when; identical where nothing differs."""

    link: str
    vectors: Vectors
    outcome: Outcome
    date: dt.datetime

    @property
    def identical(self) -> bool:
        """True when every word that was compared is the same."""
        return self.outcome.mismatch is None

    def as_json(self) -> dict[str, Any]:
        """Return the record of a run: when, which port, which vectors, how much, and what came of it."""
        vectors, outcome = self.vectors, self.outcome
        return {
            "schema": SCHEMA,
            "date": self.date.isoformat(timespec="seconds"),
            "port": {"link": self.link, "name": outcome.port},
            "vectors": {
                "digest": vectors.digest,
                "logic": vectors.logic,
                "cases": len(vectors.cases),
                "steps": vectors.steps,
                "checks": len(vectors.checks),
            },
            "logic_here": logic_digest(),
            "compared": {"steps": outcome.steps, "checks": outcome.checks, "ticks": outcome.ticks},
            "settings_check": "compared" if outcome.checks_supported else "not offered by the port",
            "result": "identical" if self.identical else "different",
            "difference": None if outcome.mismatch is None else {**vars(outcome.mismatch)},
        }


def conform_port(
    command: str | None = None, device: str | None = None, vectors: Vectors | Path | str | None = None
) -> Conformance:
    """Drive a port through the vectors and compare every word of state and outputs, up to the first difference.

    command: a program that speaks the line protocol; device: a board on a serial line that does; one of the two.
    vectors: a file of them in plain form; without it, those of the logic installed here, which take some ten seconds
    to make. The result is a `Conformance`: `identical`, `outcome`, `as_json()`. Raises Refusal.
    """
    if (command is None) == (device is None):
        raise refusal("conform", "", "one port is wanted", "--port 'COMMAND' or --serial DEVICE")
    date = dt.datetime.now(dt.UTC)
    used = read_vectors(Path(vectors)) if isinstance(vectors, Path | str) else vectors
    with command_link(command) if command is not None else serial_link(str(device)) as link:
        used = used or build()
        return Conformance(link.name, used, conform(used, link), date)


def _streams(process: "subprocess.Popen[bytes]") -> tuple[IO[bytes], IO[bytes]]:
    """Return (to the port, from the port)."""
    if process.stdin is None or process.stdout is None:
        raise ValueError("started without pipes")
    return process.stdin, process.stdout


class _Pipe:
    """A command that speaks the protocol on its standard input and output."""

    def __init__(self, command: str, process: "subprocess.Popen[bytes]") -> None:
        self.name = command
        self.process = process
        self.to_port, self.from_port = _streams(process)
        self.waiting = b""

    def send(self, text: str) -> None:
        # A pipe that takes anything takes a whole line: its lines are shorter than PIPE_BUF.
        if not select.select([], [self.to_port], [], TIMEOUT_S)[1]:
            raise refusal(self.name, "", f"reads no line for {TIMEOUT_S:g} s", "a port that answers every line")
        try:
            self.to_port.write(text.encode() + b"\n")
            self.to_port.flush()
        except OSError:
            raise self._ended() from None

    def receive(self) -> str:
        end = time.monotonic() + TIMEOUT_S
        while b"\n" not in self.waiting:
            left = end - time.monotonic()
            if left <= 0 or not select.select([self.from_port], [], [], left)[0]:
                raise refusal(self.name, "", f"no answer within {TIMEOUT_S:g} s", "a line for every line")
            part = os.read(self.from_port.fileno(), 65536)
            if not part:
                raise self._ended()
            self.waiting += part
            if len(self.waiting) > LONGEST and b"\n" not in self.waiting:
                raise _too_long(self.name)
        first, _, self.waiting = self.waiting.partition(b"\n")
        return first.decode("ascii", errors="replace").strip()

    def _ended(self) -> Refusal:
        status = ""
        with contextlib.suppress(subprocess.TimeoutExpired):
            status = f" with status {self.process.wait(1)}"
        return refusal(self.name, "", f"the port has ended{status}", "a port that answers every line")


@contextlib.contextmanager
def command_link(command: str) -> Iterator[Link]:
    """Start a port program and end it again. Raises Refusal when it cannot be started."""
    try:
        words = shlex.split(command) or [""]
        process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, start_new_session=True)
    except ValueError as error:
        raise refusal("--port", "", str(error), "a command that speaks the line protocol", command) from None
    except OSError as error:
        raise refusal("--port", "", f"cannot be started ({error.strerror})", "a command to be found", command) from None
    try:
        yield _Pipe(command, process)
        process.wait(1)
    except subprocess.TimeoutExpired:
        pass  # said bye and stays: ended below
    finally:
        _end(process)


def _end(process: "subprocess.Popen[bytes]") -> None:
    """End a port program with all that it started."""
    if process.poll() is None:
        os.killpg(process.pid, signal.SIGKILL)
    for stream in _streams(process):
        with contextlib.suppress(BrokenPipeError):
            stream.close()
    process.wait()


class _Serial:
    """A board on a serial line."""

    def __init__(self, device: str, serial: Any) -> None:
        self.name = device
        self.serial = serial

    def send(self, text: str) -> None:
        try:
            self.serial.write(text.encode() + b"\n")
        except OSError as error:
            raise self._gone(error) from None

    def receive(self) -> str:
        try:
            read = self.serial.read_until(b"\n", LONGEST)
        except OSError as error:
            raise self._gone(error) from None
        if len(read) == LONGEST and not read.endswith(b"\n"):
            raise _too_long(self.name)
        if not read.endswith(b"\n"):
            raise refusal(self.name, "", f"no answer within {TIMEOUT_S:g} s", f"a board at {BAUD} baud, 8N1")
        return str(read.decode("ascii", errors="replace").strip())

    def _gone(self, error: OSError) -> Refusal:
        return refusal(self.name, "", f"the serial line has failed ({error})", f"a board at {BAUD} baud, 8N1")


def _too_long(name: str) -> Refusal:
    return refusal(name, "", f"an answer of more than {LONGEST} bytes without an end", "a short line for every line")


@contextlib.contextmanager
def serial_link(device: str) -> Iterator[Link]:
    """Open a serial line at 115200 baud, 8N1. Raises Refusal when it cannot be opened."""
    try:
        import serial  # type: ignore[import-untyped,unused-ignore]
    except ImportError:
        raise refusal("--serial", "", "needs pyserial", "pip install 'lubetrip[serial]'", device) from None
    try:
        opened = serial.Serial(device, BAUD, timeout=TIMEOUT_S, write_timeout=TIMEOUT_S)
    except (serial.SerialException, ValueError) as error:
        raise refusal("--serial", "", f"cannot be opened ({error})", "a serial device", device) from None
    with opened:
        yield _Serial(device, opened)


def words_of(mismatch: Mismatch) -> str:
    """Return a difference as text: where, inputs, expected and got, by name where they differ."""
    lines = [f"different at {mismatch.where}", f"  asked     {mismatch.asked}"]
    if mismatch.inputs:
        lines.append("  inputs    " + ", ".join(f"{name} {value}" for name, value in mismatch.inputs.items()))
    got = visible(mismatch.got)[:LONGEST_PART]
    lines += [f"  expected  {mismatch.expected}", f"  got       {got or '(an empty line)'}"]
    if mismatch.form:
        return "\n".join([*lines, f"  {visible(mismatch.form)}"])
    lines += [
        f"  {name}: expected {want}, got {'nothing' if have is None else have}"
        for name, (want, have) in mismatch.differing.items()
    ]
    return "\n".join(lines)
