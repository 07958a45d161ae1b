"""Written by `python -m firmware_ref.generate`: the logic on this board, and settings held against it."""

LAYOUT = "8089cd42"  # which places the settings have, and in which units
DIGEST = "7250625de12ab131d6914a3bcf7d40b881cdb3affdb2b419bc8a64ee0e9aef95"  # SHA-256 of the reference


def refuse_others(layout: str, digest: str) -> None:
    """Raise ValueError for settings that were exported for another layout or another logic."""
    if layout != LAYOUT:
        raise ValueError("settings exported for another layout of the settings: export them again")
    if digest != DIGEST:
        raise ValueError("settings exported for another logic: export them again")
