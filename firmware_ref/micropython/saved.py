"""The saved record on the board: `protect.saved` in two files written in turn.

What a record holds, when it counts and what happens without one is told there.
"""

from protect import saved


def read(name: str) -> bytearray:
    """Return the bytes of a record file; one that is missing or of another size comes back as no record."""
    try:
        with open(name, "rb") as stream:
            content = stream.read(saved.RECORD_SIZE + 1)
    except OSError:
        content = b""
    if len(content) != saved.RECORD_SIZE:
        return bytearray(saved.RECORD_SIZE)
    return bytearray(content)


def recall(files: tuple[str, str], settings: tuple[int, ...], memory: list[int]) -> int:
    """Set the state at power-up from the newest good record, or lock out; return its number."""
    return saved.recall(memory, settings, read(files[0]), read(files[1]))


def save(files: tuple[str, str], number: int, settings: tuple[int, ...], memory: list[int]) -> None:
    """Write record `number` into the file whose turn it is; the other one stays whole."""
    record = bytearray(saved.RECORD_SIZE)
    saved.fill(record, number, settings, memory)
    with open(files[number & 1], "wb") as stream:
        stream.write(record)
