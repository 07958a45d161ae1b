"""Written by `python -m firmware_ref.generate`: the logic on this board, and settings held against it."""

LAYOUT = "8089cd42"  # which places the settings have, and in which units
DIGEST = "9c7769f2abf4c5e9b3025083d68c94b4a3bdbe80b2b7ab7f5af9599da3d3b55e"  # SHA-256 of the reference


def refuse_others(layout: str, digest: str) -> None:
    """Raise ValueError for settings that were exported for another layout or another logic."""
    if layout != LAYOUT:
        raise ValueError("settings exported for another layout of the settings: export them again")
    if digest != DIGEST:
        raise ValueError("settings exported for another logic: export them again")
