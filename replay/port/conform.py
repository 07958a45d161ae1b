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
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any, Protocol, cast

from firmware_ref.digest import settings_places
from protect import outputs, ranges, state
from replay.engine import logic_digest
from replay.ground.refusal import LONGEST_PART, Refusal, refusal, shown, visible
from replay.port.vectors import Vectors, build, line, read_vectors

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


STEP_NAMES = (*place_names(state, "STATE", "STATE_SIZE"), *place_names(outputs, "RUN_PERMISSION", "OUTPUTS_SIZE"))
INPUT_NAMES = [row[0] for row in ranges.INPUTS]
CHECK_NAMES = ("first_fault", *(name for name, _ in settings_places()[ranges.SETTING_COUNT :]))


@dataclass(frozen=True)
class _Question:
    """A line to a port and the answer that is wanted, with the names of its numbers."""

    kind: str  # what is compared, as it is counted
    where: str
    asked: str
    expected: str
    names: Sequence[str] = STEP_NAMES
    inputs: dict[str, int] = field(default_factory=dict)


def _questions(vectors: Vectors, bits: int, *, checked: bool) -> Iterator[_Question]:
    """Yield all that a port with a tick of so many bits is asked; settings checks where it offers them."""
    for number, check in enumerate(vectors.checks if checked else (), start=1):
        expected = line("checked", (check.fault, *check.derived))
        yield _Question("check", f"settings check {number}", line("check", check.values), expected, CHECK_NAMES)
    for difference in vectors.differences:
        if difference.bits == bits:
            asked = line("ticks", (difference.now, difference.before))
            yield _Question("tick", "tick difference", asked, line("elapsed", (difference.elapsed,)), ["elapsed"])
    for number, case in enumerate(vectors.cases, start=1):
        where = f"case {number} ({case.purpose})"
        yield _Question("power-up", f"{where}, power-up", line("set", case.settings), line("state", case.start))
        for count, tick in enumerate(case.ticks, start=1):
            expected = line("done", (*tick.state, *tick.outputs))
            inputs = dict(zip(INPUT_NAMES, tick.inputs, strict=True))
            asked = line("step", tick.inputs)
            yield _Question("step", f"{where}, tick {count}", asked, expected, inputs=inputs)


def _ask(link: Link, where: str, text: str) -> str:
    """Ask and return the answer. Raises Refusal that tells where the port was asked what."""
    try:
        link.send(text)
        return link.receive()
    except Refusal as error:
        raise Refusal(f"{error}; asked at {where}: {text}") from None


def _hello(link: Link) -> tuple[int, str]:
    """Return (bits of the port's tick, what it says it is)."""
    answer = _ask(link, "the beginning", "hello")
    for _ in range(BOOT_LINES):
        word, _, rest = answer.partition(" ")
        bits, _, name = rest.partition(" ")
        if word == "port" and bits in TICK_BITS:
            return int(bits), visible(name.strip())[:LONGEST_PART]
        if word == "port" and _INTEGER.fullmatch(bits):
            raise refusal(link.name, "", "no width of a tick counter", ", ".join(TICK_BITS), answer)
        try:
            answer = link.receive()
        except Refusal as error:
            raise Refusal(f"{error}; asked: hello; heard {shown(answer)}, wanted port TICK_BITS NAME") from None
    raise refusal(link.name, "", "no answer to hello", "port TICK_BITS NAME", answer)


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


def _by_name(names: Sequence[str], expected: str, got: str) -> dict[str, tuple[int, int | None]]:
    """Return {name: (expected, got)} of the numbers that differ; got is None where none came."""
    wanted = [int(number) for number in expected.split()[1:]]
    word, *numbers = got.split() or [""]
    answered: list[int | None] = [int(n) if _INTEGER.fullmatch(n) else None for n in numbers]
    if not expected.startswith(f"{word} "):
        answered = []
    answered += [None] * (len(wanted) - len(answered))
    pairs = zip(names, wanted, answered, strict=False)
    return {name: (want, have) for name, want, have in pairs if want != have}


def conform(vectors: Vectors, link: Link) -> Outcome:
    """Drive a port through all vectors.

    Raises Refusal when the port does not answer at all. A port that states a tick
    of 0 bits has no tick differences to answer.
    """
    bits, name = _hello(link)
    first = [line("check", check.values) for check in vectors.checks[:1]]
    checked = [_ask(link, "settings check 1", asked) for asked in first] != ["none"]
    equal: Counter[str] = Counter()
    mismatch, before = None, ""
    for question in _questions(vectors, bits, checked=checked):
        got = _ask(link, question.where, question.asked)
        if got.split() != question.expected.split():
            mismatch = _mismatch(question, got, before)
            break
        equal[question.kind] += 1
        before = question.expected
    link.send("bye")
    return Outcome(name, equal["step"], equal["check"], equal["tick"], checked, mismatch)


def _mismatch(question: _Question, got: str, before: str) -> Mismatch:
    """Say how an answer differs; `before` is what was wanted in answer to the line before."""
    form = _form_fault(question.expected, got)
    if not form and got.split() == before.split():
        form = "this is what was wanted in answer to the line before: one line for each line"
    differing = _by_name(question.names, question.expected, got)
    return Mismatch(question.where, question.asked, question.inputs, question.expected, got, form, differing)


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


def _text(name: str, read: bytes, accepted: str) -> str:
    """Return a line that was read, without its end. Raises Refusal for one that came without an end."""
    if read.endswith(b"\n"):
        return read.decode("ascii", errors="replace").strip()
    if len(read) >= LONGEST:
        rule = f"an answer of more than {LONGEST} bytes without an end"
        raise refusal(name, "", rule, "a short line for every line")
    raise refusal(name, "", f"no answer within {TIMEOUT_S:g} s", accepted)


class _Pipe:
    """A command that speaks the protocol on its standard input and output."""

    def __init__(self, command: str, process: "subprocess.Popen[bytes]") -> None:
        self.name = command
        self.process = process
        self.to_port, self.from_port = cast("IO[bytes]", process.stdin), cast("IO[bytes]", process.stdout)
        self.waiting = b""

    def send(self, text: str) -> None:
        # A pipe that takes anything takes a whole line: its lines are shorter than PIPE_BUF.
        if not select.select([], [self.to_port], [], TIMEOUT_S)[1]:
            raise refusal(self.name, "", f"reads no line for {TIMEOUT_S:g} s", "a port that answers every line")
        try:
            self.to_port.write(text.encode() + b"\n")
        except OSError:
            raise self._ended() from None

    def receive(self) -> str:
        end = time.monotonic() + TIMEOUT_S
        while b"\n" not in self.waiting and len(self.waiting) < LONGEST:
            left = end - time.monotonic()
            if left <= 0 or not select.select([self.from_port], [], [], left)[0]:
                break
            part = self.from_port.read(65536)
            if not part:
                raise self._ended()
            self.waiting += part
        first, newline, self.waiting = self.waiting.partition(b"\n")
        return _text(self.name, first + newline, "a line for every line")

    def _ended(self) -> Refusal:
        status = ""
        with contextlib.suppress(subprocess.TimeoutExpired):
            status = f" with status {self.process.wait(1)}"
        return refusal(self.name, "", f"the port has ended{status}", "a port that answers every line")


@contextlib.contextmanager
def command_link(command: str) -> Iterator[Link]:
    """Start a port program, and end it with all that it started. Raises Refusal when it cannot be started."""
    pipe = subprocess.PIPE
    try:
        words = shlex.split(command) or [""]
        process = subprocess.Popen(words, bufsize=0, stdin=pipe, stdout=pipe, start_new_session=True)
    except ValueError as error:
        raise refusal("--port", "", str(error), "a command that speaks the line protocol", command) from None
    except OSError as error:
        raise refusal("--port", "", f"cannot be started ({error.strerror})", "a command to be found", command) from None
    with process:
        try:
            yield _Pipe(command, process)
            process.wait(1)
        except subprocess.TimeoutExpired:
            pass  # said bye and stays: ended below
        finally:
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)


class _Serial:
    """A board on a serial line."""

    accepted = f"a board at {BAUD} baud, 8N1"

    def __init__(self, device: str, serial: Any) -> None:
        self.name = device
        self.serial = serial

    def send(self, text: str) -> None:
        with self._plugged():
            self.serial.write(text.encode() + b"\n")

    def receive(self) -> str:
        with self._plugged():
            read = self.serial.read_until(b"\n", LONGEST)
        return _text(self.name, read, self.accepted)

    @contextlib.contextmanager
    def _plugged(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            raise refusal(self.name, "", f"the serial line has failed ({error})", self.accepted) from None


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
    for name, (want, have) in mismatch.differing.items():
        lines.append(f"  {name}: expected {want}, got {'nothing' if have is None else have}")
    return "\n".join(lines)
