"""The console command `lubetrip`: a thin layer over functions of `replay`; nothing imports it.

Exit status: 0 done (score: acceptance met), 1 score: acceptance not met, 2 bad input, 3 score: not enough evidence.
"""

import click

from replay.cli import (
    bench,
    compare,
    demo,
    firmware,
    floor,
    guarantee,
    import_files,
    label,
    record,
    report,
    score,
    synth,
    trace,
    triage,
    tune,
)

TOPICS = (
    bench,
    compare,
    demo,
    firmware,
    floor,
    guarantee,
    import_files,
    label,
    record,
    report,
    score,
    synth,
    trace,
    triage,
    tune,
)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="lubetrip")
def main() -> None:
    """Replay the lubrication protection over traces of reciprocating compressors.

    Not a certified safety device and never the only protection: local codes and
    licensed practice come first; never defeat a factory safety.
    """


for topic in TOPICS:
    for command in topic.COMMANDS:
        main.add_command(command)
