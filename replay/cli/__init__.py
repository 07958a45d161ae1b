"""The console command `lubetrip`: a thin layer over functions of `replay`; nothing imports it.

Exit status: 0 done (score: acceptance met), 1 score: acceptance not met, 2 bad input, 3 score: not enough evidence.

How to add a command: a function in `replay` that a notebook could call, and a thin layer in the module here that fits
its topic; options that several commands share stand in `options`. Bad input is a refusal of
`replay.ground.refusal`: file, line or key, value, rule, what would do.
"""

import signal
import sys
import threading
from importlib import import_module

import click

TOPICS = (
    "bench",
    "compare",
    "demo",
    "firmware",
    "floor",
    "guarantee",
    "import_files",
    "label",
    "record",
    "report",
    "score",
    "synth",
    "trace",
    "triage",
    "tune",
)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="lubetrip")
def main() -> None:
    """Replay the lubrication protection over traces of reciprocating compressors.

    Not a certified safety device and never the only protection: local codes and
    licensed practice come first; never defeat a factory safety.
    """
    # Ended from outside, a command clears away what it had begun, as after Ctrl-C.
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, lambda number, _: sys.exit(128 + number))


for topic in TOPICS:
    for command in import_module(f"replay.cli.{topic}").COMMANDS:
        main.add_command(command)
