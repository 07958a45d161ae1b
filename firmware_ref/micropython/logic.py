"""Written by `python -m firmware_ref.generate`: the logic on this board, and settings held against it."""

LAYOUT = "8089cd42"  # which places the settings have, and in which units
DIGEST = "33732e7aa3672d168d1e4eed8e9124458e737a9091f4dd17d187562a2fb0502d"  # SHA-256 of the reference


def refuse_others(layout: str, digest: str) -> None:
    """Raise ValueError for settings that were exported for another layout or another logic."""
    if layout != LAYOUT:
        raise ValueError("settings exported for another layout of the settings: export them again")
    if digest != DIGEST:
        raise ValueError("settings exported for another logic: export them again")
