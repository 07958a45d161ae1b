"""Written by `python -m firmware_ref.generate`: the logic on this board, and settings held against it."""

LAYOUT = "047cda24"  # which places the settings have, and in which units
DIGEST = "7635e4b75b622890d9341db4f6dddcdf5b180f7fc1e3a13ca2ec9c8d049a1528"  # SHA-256 of the reference


def refuse_others(layout: str, digest: str) -> None:
    """Raise ValueError for settings that were exported for another layout or another logic."""
    if layout != LAYOUT:
        raise ValueError("settings exported for another layout of the settings: export them again")
    if digest != DIGEST:
        raise ValueError("settings exported for another logic: export them again")
