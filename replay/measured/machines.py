"""Which machines a file holds: each with columns of its own, named in a column, or the one of the file or folder."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from replay.ground.refusal import refusal, visible
from replay.measured.block import Block
from replay.measured.opened import Given
from replay.measured.profile import Profile
from replay.measured.sources import Source, open_source

MOST_MACHINES = 200  # of a column that names them


class OfMachine:
    """The rows of one machine of a source whose rows name their machine."""

    def __init__(self, source: Source, machine: str) -> None:
        self.source, self.machine = source, machine
        self.path, self.units, self.clock, self.fingerprint = (
            source.path,
            source.units,
            source.clock,
            source.fingerprint,
        )
        self.profile = replace(source.profile, texts=source.profile.texts | {"machine": visible(machine)})

    def notes(self) -> list[str]:
        """Say how the file was read."""
        return [*self.source.notes(), f"rows of machine {self.machine}"]

    def blocks(self) -> Iterator[Block]:
        """Yield the rows of this machine in order."""
        for block in self.source.blocks():
            yield block.rows(np.asarray(block.machine == self.machine))


def machines_of(source: Source, profile: Profile, given: Given, *, repair: bool) -> dict[str, Source]:
    """Return a source for each machine of a file by its name; by "" where there is one, named by the profile if at all.

    source: the file as opened, for its first machine. Raises Refusal for a column of names that names none or too many.
    """
    if profile.machines:
        names = list(profile.machines)
        rest = {name: open_source(source.path, profile.of_machine(name), repair=repair) for name in names[1:]}
        return {names[0]: source} | rest
    if profile.machine_column is not None:
        found: dict[str, None] = {}
        for block in source.blocks():
            found |= dict.fromkeys(np.unique(block.machine).tolist())
            if len(found) > MOST_MACHINES:
                rule = f"names more than {MOST_MACHINES} machines"
                raise refusal(source.path, str(profile.machine_column), rule, "the column that names the machine")
        named = [name for name in found if name]
        if not named:
            raise refusal(source.path, str(profile.machine_column), "names no machine", "a column with names")
        return {name: OfMachine(source, name) for name in named}
    if profile.machine_from == "folder" and "machine" not in profile.texts:
        source.profile = replace(source.profile, texts=profile.texts | {"machine": visible(given.folder)})
    return {"": source}
