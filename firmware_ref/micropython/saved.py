"""The saved record: what has to survive a power loss, in two files written in turn.

A record is whole or it does not count: it carries the digest of the settings it
was made under, a running number and a CRC-32. The newest good one is taken. With
none, the machine comes up locked out and waits for a person and the reset.

Time that passed without power is not known and relaxes nothing: restart delay
and start grace begin anew, counted trips and the integral stay.
"""

import binascii
import struct

from protect import state

FORM = "<4sI32s" + "i" * state.STATE_SIZE
MAGIC = b"LTR1"
KEPT = (
    state.INTEGRAL,
    state.INTEGRAL_FRACTION,
    state.MEMORY_LEFT,
    state.TRIPS,
    state.FAULT_TIME,
    state.CAUSE,
)


def packed(number: int, digest: str, words: list[int]) -> bytes:
    """Return a record as bytes."""
    body = struct.pack(FORM, MAGIC, number, binascii.unhexlify(digest), *words)
    return body + struct.pack("<I", binascii.crc32(body) & 0xFFFFFFFF)


def unpacked(record: bytes, digest: str) -> tuple[int, list[int]] | None:
    """Return (running number, state words) of a whole record made under these settings, or None."""
    if len(record) != struct.calcsize(FORM) + 4:
        return None
    body = record[:-4]
    if struct.unpack("<I", record[-4:])[0] != binascii.crc32(body) & 0xFFFFFFFF:
        return None
    fields = struct.unpack(FORM, body)
    if fields[0] != MAGIC or fields[2] != binascii.unhexlify(digest):
        return None
    return fields[1], list(fields[3:])


def newest(files: tuple[str, ...], digest: str) -> tuple[int, list[int]] | None:
    """Return the newest good record of the files, or None."""
    found = None
    for name in files:
        try:
            with open(name, "rb") as stream:
                record = unpacked(stream.read(), digest)
        except OSError:
            record = None
        if record and (found is None or record[0] > found[0]):
            found = record
    return found


def save(files: tuple[str, ...], number: int, digest: str, words: list[int]) -> None:
    """Write record `number` into the file whose turn it is; the other one stays whole."""
    with open(files[number % len(files)], "wb") as stream:
        stream.write(packed(number, digest, words))


def put_back(memory: list[int], words: list[int] | None) -> None:
    """Put a saved state into the state of power-up, or lock out when there is none."""
    if words is None:
        memory[state.STATE] = state.LOCKED_OUT
        return
    for place in KEPT:
        memory[place] = words[place]
    memory[state.FLAGS] |= words[state.FLAGS] & state.FAULT_DECLARED
    if words[state.STATE] >= state.TRIPPED:
        memory[state.STATE] = words[state.STATE]
