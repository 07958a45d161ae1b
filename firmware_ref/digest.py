"""What a port and a table of settings were made from: the digest of the logic, and the layout of the settings."""

import functools
import hashlib
import zlib
from collections.abc import Iterable
from pathlib import Path

import protect
from protect import ranges


@functools.cache
def logic_digest() -> str:
    """Return the SHA-256 over the source files of `protect`, in name order."""
    return sources_digest(sorted(Path(protect.__file__).parent.glob("*.py")))


def sources_digest(paths: Iterable[Path]) -> str:
    """Return the SHA-256 over source files in their order, names and line-end-free text."""
    digest = hashlib.sha256()
    for path in paths:
        text = path.read_text(encoding="utf-8")
        digest.update(f"{path.name}\n{len(text)}\n{text}".encode())
    return digest.hexdigest()


def settings_places() -> list[tuple[str, str]]:
    """Return name and unit of every place of the settings array, in order; the unit of derived places is `derived`."""
    names = list(vars(ranges))
    derived = names[names.index("SETTING_COUNT") + 1 : names.index("SETTINGS_SIZE")]
    return [*((row[0], row[1]) for row in ranges.SETTINGS), *((name.lower(), "derived") for name in derived)]


def layout() -> str:
    """Return the number of the layout of the settings, 8 hexadecimal digits: CRC-32 of names and units in order."""
    return f"{zlib.crc32(repr(settings_places()).encode()):08x}"
