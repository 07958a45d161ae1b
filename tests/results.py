"""What long runs came to: `--record` of a gate or a campaign adds a line to RESULTS.md, with the date and the digests.

A record speaks of the sources that it names, and of no later ones; the newest of a command stands last.
"""

import shlex
import sys
from datetime import UTC, datetime
from pathlib import Path

import click

from replay.engine import logic_digest
from replay.engine.c_port import port_digest

RESULTS = Path(__file__).with_name("RESULTS.md")
RAN_ON = (logic_digest()[:16], port_digest()[:16])  # now: the sources may have changed by the end
record_option = click.option("--record", is_flag=True, help="Add the closing line to tests/RESULTS.md.")


def close(line: str, *, record: bool) -> None:
    """Print the line that a run comes to, with the digests; if it is to be kept, add it with the command that was given."""
    click.echo(f"{line}; logic {RAN_ON[0]}, C port {RAN_ON[1]}")
    if record:
        tool = Path(sys.argv[0]).parent.name
        given = shlex.join(argument for argument in sys.argv[1:] if argument != "--record")
        row = (datetime.now(UTC).date().isoformat(), f"`python -m tests.{tool} {given}`", *RAN_ON, line)
        with RESULTS.open("a", encoding="utf-8") as file:
            file.write("| " + " | ".join(row) + " |\n")
