"""Ways to a port that speaks the line protocol of firmware_ref/README.md: a command, or a board on a serial line."""

import contextlib
import os
import select
import shlex
import signal
import subprocess
import time
from collections.abc import Iterator
from typing import IO, Any, Protocol, cast

from replay.ground.extras import install
from replay.ground.refusal import Refusal, refusal

TIMEOUT_S = 10.0
BAUD = 115200
LONGEST = 4096  # bytes of a line; the longest right one has some 400


class Link(Protocol):
    """A way to a port: lines there and back."""

    name: str

    def send(self, text: str) -> None:
        """Send one line."""

    def receive(self) -> str:
        """Return the next line without its end. Raises Refusal when none comes in time."""


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
    if os.name == "nt":  # where nobody waits for a pipe and for a time at once
        rule = "a port is not driven by a command on this system"
        raise refusal("--port", "", rule, "--questions and --answers, or --serial DEVICE", command)
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
        raise refusal("--serial", "", "needs pyserial", install("serial"), device) from None
    try:
        opened = serial.Serial(device, BAUD, timeout=TIMEOUT_S, write_timeout=TIMEOUT_S)
    except (serial.SerialException, ValueError) as error:
        raise refusal("--serial", "", f"cannot be opened ({error})", "a serial device", device) from None
    with opened:
        yield _Serial(device, opened)
