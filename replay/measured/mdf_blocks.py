"""Whether the blocks of an MDF hold what its headers promise, found out before any of them is read.

The library that reads them extracts channels by compiled code, which trusts those headers: a file whose
counts and lengths do not fit each other ends the process, or unpacks until the memory is full.
"""

import zlib
from pathlib import Path
from typing import Any, BinaryIO

from replay.ground.refusal import refusal

DEFLATED = (1, 2)  # kinds of packed blocks: as they are, and transposed
MOST_UNPACKED = 1 << 26  # bytes of one block; usual are 4 MiB
MOST_CHECKED = 1 << 20  # bytes that are unpacked at a time to be counted


def check_group(path: Path, mdf: Any, group: int) -> None:
    """Refuse a group whose channels lie outside its records, or whose records are not all there."""
    content = mdf.groups[group]
    layout, held = content.channel_group, 0
    for channel in content.channels:
        if channel.byte_offset + (channel.bit_offset + channel.bit_count + 7) // 8 > layout.samples_byte_nr:
            raise _refused(path, f"channel '{channel.name}' lies outside the records of its group")
    with path.open("rb") as stream:
        size = path.stat().st_size
        for block in content.data_blocks:
            held += block.original_size
            for part in (block, block.invalidation_block):
                if part is not None and part.original_size and not _whole(stream, size, part):
                    raise _refused(path, f"a block of group {group} is not as long as it says")
    if held < layout.cycles_nr * layout.samples_byte_nr:
        raise _refused(path, f"group {group} holds {held} bytes of {layout.cycles_nr} records that it counts")


def _refused(path: Path, why: str) -> Exception:
    return refusal(path, "", f"not a readable MDF file ({why})", "a whole MDF 4 file")


def _whole(stream: BinaryIO, size: int, block: Any) -> bool:
    """Say whether a block lies in the file and unpacks to what it says, counting without keeping."""
    if block.address + block.compressed_size > size or not block.original_size >= 0:
        return False
    if not block.block_type:
        return bool(block.original_size <= block.compressed_size)
    if block.original_size > MOST_UNPACKED or block.block_type not in DEFLATED:
        return bool(block.original_size <= MOST_UNPACKED)
    stream.seek(block.address)
    unpacker, packed, found = zlib.decompressobj(), stream.read(block.compressed_size), 0
    while packed and found <= block.original_size:
        found += len(unpacker.decompress(packed, MOST_CHECKED))
        packed = unpacker.unconsumed_tail
    return bool(found == block.original_size)
