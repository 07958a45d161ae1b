"""The walks that the vectors are made from, as `python -m tests.wrong_ports.search` wrote them to `walks.txt`."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from protect import ranges

WALKS = Path(__file__).with_name("walks.txt")


@dataclass(frozen=True)
class Walk:
    """What it is there for, settings[SETTING_COUNT], and the inputs of each step from power-up."""

    purpose: str
    settings: tuple[int, ...]
    inputs: tuple[tuple[int, ...], ...]


def write_walks(path: Path, walks: Sequence[Walk]) -> None:
    """Write walks as text: the purpose, settings by name, then a line of inputs for each step."""
    lines = []
    for walk in walks:
        named = " ".join(f"{row[0]}={value}" for row, value in zip(ranges.SETTINGS, walk.settings, strict=True))
        lines += [f"walk {walk.purpose}", named, *(" ".join(map(str, inputs)) for inputs in walk.inputs)]
    path.write_text("\n".join(lines) + "\n", encoding="ascii")


def read_walks(path: Path, middle: dict[str, int]) -> Iterator[Walk]:
    """Yield walks of a file; a setting that it does not name is as in `middle`."""
    for part in ("\n" + path.read_text(encoding="ascii")).split("\nwalk ")[1:]:
        purpose, head, *lines = part.splitlines()
        named = {**middle, **{key: int(value) for key, _, value in (word.partition("=") for word in head.split())}}
        yield Walk(
            purpose,
            tuple(named[row[0]] for row in ranges.SETTINGS),
            tuple(tuple(map(int, line.split())) for line in lines),
        )
