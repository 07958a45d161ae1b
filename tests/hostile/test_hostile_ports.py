"""A port, or what pretends to be one, may say anything or nothing: the driver neither hangs nor falls over it."""

import shlex
from collections.abc import Callable
from typing import Any

import pytest
from click.testing import CliRunner

from replay.cli import main
from replay.ground.refusal import Refusal
from replay.port import conform as driver
from replay.port import links
from replay.port.conform import conform, words_of
from replay.port.links import command_link
from tests.support.hostile import small_vectors
from tests.support.toolchain import dialogue

pytestmark = pytest.mark.slow("starts workers or commands as processes of their own")

ANSWERS = [
    answer for _, answer in dialogue(small_vectors())
]  # the first question comes twice: whether there is a settings check at all
HELLO = "port 32 by hand"
NOTHING = ("none",) * len(driver.ABOUT)  # of what it is made


def port(*answers: str, then: str = "") -> str:
    """Return the command of a port that says these lines in turn, whatever it is asked, and then does something."""
    said = "; ".join(f"read x; printf '%s\\n' {shlex.quote(answer)}" for answer in answers)
    return f"sh -c {shlex.quote('; '.join(part for part in (said, then) if part))}"


@pytest.fixture(autouse=True)
def _impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(links, "TIMEOUT_S", 0.4)


def test_a_right_port_of_this_kind_is_found_identical() -> None:
    """Catches stand-ins that are refused for another reason than the one each shows."""
    with command_link(port(HELLO, *NOTHING, ANSWERS[0], *ANSWERS, then="read x")) as link:
        assert conform(small_vectors(), link).mismatch is None


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ("sleep 60", "no answer within 0.4 s"),
        ("true", "the port has ended with status 0"),
        ("sh -c 'kill -9 $$'", "the port has ended with status -9"),
        ("sh -c 'exec >&-; sleep 60'", "the port has ended"),
        ("yes", "no answer to hello"),
        ("sh -c 'yes | tr -d \\\\n'", "more than 4096 bytes without an end"),
        ("cat /dev/zero", "more than 4096 bytes without an end"),
        ("cat /dev/urandom", "no answer to hello|without an end"),
        (port("port 32"), "the port has ended"),
        (port("port x y"), "no answer within|the port has ended"),
        (port("port " + "9" * 9000 + " x", then="sleep 60"), "no answer within|without an end"),
        (port("port \N{SUPERSCRIPT TWO} x", then="sleep 60"), "no answer within"),
    ],
)
def test_what_is_no_port_is_refused_in_one_line(wrong: str, says: str) -> None:
    """Catches a driver that waits for ever, gathers an endless line, or shows a traceback."""
    with pytest.raises(Refusal, match=says) as refused, command_link(wrong) as link:
        conform(small_vectors(), link)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    "answer",
    ["9" * 4000, "checked " + "9" * 3000, "checked --5 0 0 0", "checked \x1b[2J", "\x01\x02", "checked", "none of it"],
)
def test_a_wrong_answer_of_any_form_is_a_difference(answer: str) -> None:
    """Catches an answer that cannot be turned into numbers, and one that writes to the terminal of who reads it."""
    with command_link(port(HELLO, *NOTHING, answer, answer, then="read x")) as link:
        found = conform(small_vectors(), link)

    assert found.mismatch is not None
    assert "\x1b" not in words_of(found.mismatch)
    assert max(map(len, words_of(found.mismatch).splitlines())) < 1000


def test_a_port_that_talks_and_never_listens_is_given_up() -> None:
    """Catches a driver that waits for ever for a full pipe to be read."""

    def tell(link: links.Link) -> None:
        for _ in range(3000):
            link.send("x" * 60)

    with command_link("sleep 60") as link, pytest.raises(Refusal, match=r"reads no line for 0\.4 s"):
        tell(link)


def test_a_port_that_floods_is_ended_with_the_run() -> None:
    """Catches a process that is left behind and goes on."""
    with command_link("yes") as link, pytest.raises(Refusal):
        conform(small_vectors(), link)
    process: Any = link
    assert process.process.poll() is not None


class _Board:
    """A serial line that does as it is told."""

    def __init__(self, read: Callable[[], bytes]) -> None:
        self.read = read

    def write(self, _: bytes) -> None:
        """Take a line."""

    def read_until(self, _end: bytes, most: int) -> bytes:
        """Return what comes, at most so much."""
        return self.read()[:most]


def _unplugged() -> bytes:
    raise OSError("device disconnected")


@pytest.mark.parametrize(
    ("read", "says"),
    [(_unplugged, "the serial line has failed"), (lambda: b"9" * 10**6, "without an end"), (bytes, "no answer within")],
)
def test_a_serial_line_fails_in_one_line(read: Callable[[], bytes], says: str) -> None:
    """Catches a cable that was pulled out and ends in a traceback, and a board that never ends its line."""
    with pytest.raises(Refusal, match=says):
        links._Serial("/dev/ttyX", _Board(read)).receive()  # noqa: SLF001 - a line without a device


def test_a_refused_port_leaves_no_record(tmp_path: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a record of a run that was none, and a name that moves the cursor."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "vectors.txt").write_text(small_vectors().text())
    done = CliRunner().invoke(main, ["conform", "--port", "cat /dev/zero \x1b[2J", "--vectors", "vectors.txt"])

    assert done.exit_code == 2, done.output
    assert "\x1b" not in done.output
    assert [path.name for path in tmp_path.iterdir()] == ["vectors.txt"]
