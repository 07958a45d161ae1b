"""Show a property of the physics by its name: `python -m tests.physics_shown halving --record`."""

import click

from tests.physics_shown.extremes import extremes
from tests.physics_shown.halving import halving
from tests.physics_shown.sensitivity import sensitivity


@click.group()
def command() -> None:
    """Show on what the synthesised machines hang, and on what they do not."""


command.add_command(extremes)
command.add_command(halving)
command.add_command(sensitivity)

if __name__ == "__main__":
    command()
