"""A key of a machine file that holds anything but figures."""

from dataclasses import dataclass

from replay.ground.shape import Read


@dataclass(frozen=True)
class Word:
    """A key that holds anything but figures; left_out: what stands then, in words ('' where nothing is assumed)."""

    section: str
    key: str
    read: Read
    accepted: str
    left_out: str
    text: str
    example: str = ""
    needed: bool = False

    @property
    def path(self) -> str:
        """Section and key."""
        return f"{self.section}.{self.key}".lstrip(".")
