"""Commands for the firmware team: `vectors`, `conform`, `export` and `export-sources`."""

import datetime as dt
import json
from pathlib import Path

import click

from replay.cli.group import main
from replay.cli.options import PATH, give_text
from replay.ground.files import check_writable, write_text


@main.command()
@click.argument("out", metavar="OUT", type=PATH)
def vectors(out: Path) -> None:
    """Write the conformance vectors into the folder OUT.

    vectors.txt is the plain form, vectors.bin the compact one; both are
    specified in firmware_ref/README.md.
    """
    from replay.port.coverage import wanted
    from replay.port.vectors import covered, write_vectors

    made, items = write_vectors(out), wanted()
    click.echo(f"{out / 'vectors.txt'} and vectors.bin: digest {made.digest}")
    click.echo(
        f"{made.steps} steps in {len(made.cases)} cases, {len(made.checks)} settings checks,"
        f" {len(made.differences)} tick differences, {len(made.exchanges)} questions on saved records and seals"
    )
    click.echo(f"covered: {len(items & covered(made))} of {len(items)} rows, near misses, bits, limits and events")


@main.command(short_help="Run a port through the vectors and compare every word.")
@click.option("--port", "command", metavar="COMMAND", help="Program that speaks the line protocol.")
@click.option("--serial", "device", metavar="DEVICE", help="Serial line of a board that speaks it.")
@click.option(
    "--vectors",
    "vector_file",
    type=PATH,
    metavar="FILE",
    help="Vectors in plain form, as `lubetrip vectors` writes them. Default: those of the logic installed here.",
)
@click.option(
    "--questions",
    "question_file",
    type=PATH,
    metavar="FILE",
    help="For a target with no line to this host: write all questions to FILE and stop.",
)
@click.option(
    "--answers", "answer_file", type=PATH, metavar="FILE", help="Compare the answers of such a target, one per line."
)
@click.option("--binary", type=PATH, metavar="FILE", help="Program on the target; its SHA-256 goes into the record.")
@click.option("--keep-going", is_flag=True, help="After a difference, go on with the next case.")
@click.option(
    "--record",
    "record_file",
    type=PATH,
    metavar="FILE",
    help="Record to write. Default: conform-DATE.json in this folder.",
)
def conform(
    command: str | None,
    device: str | None,
    vector_file: Path | None,
    question_file: Path | None,
    answer_file: Path | None,
    binary: Path | None,
    record_file: Path | None,
    *,
    keep_going: bool,
) -> None:
    """Run a port through the vectors and compare every word of state, outputs, saved records and seals.

    Stops at the first difference, unless --keep-going is given. Exit status: 0 identical, 1 different, 2 no
    answer or bad input.
    """
    from replay.port.conform import conform_port

    if question_file is not None:
        _write_questions(question_file, vector_file)
        return
    target = record_file or Path(f"conform-{dt.datetime.now(dt.UTC):%Y%m%dT%H%M%SZ}.json")
    check_writable(target)
    found = conform_port(command, device, vector_file, answers=answer_file, binary=binary, keep_going=keep_going)
    record = found.as_json()
    write_text(target, json.dumps(record, indent=1) + "\n")
    if found.vectors.logic != record["logic_here"]:
        click.echo(
            "These vectors were made from another logic than the one installed here; the record holds both digests."
        )
    click.echo(f"port: {found.outcome.port}; vectors {found.vectors.digest[:16]}; record {target}")
    for told in found.told():
        click.echo(told)
    raise SystemExit(not found.identical)


def _write_questions(out: Path, vector_file: Path | None) -> None:
    from replay.port.conform import conform_questions

    text = conform_questions(vector_file)
    write_text(out, text)
    click.echo(f"{out}: {len(text.splitlines())} questions, one per line; give the answers to --answers, one per line")


@main.command("export-sources")
@click.argument("out", metavar="OUT", type=PATH)
@click.option("--settings", "settings_file", type=PATH, metavar="FILE", help="Settings file to export as well.")
def export_sources(out: Path, settings_file: Path | None) -> None:
    """Write one archive OUT (zip) with everything a target needs.

    C port, Structured Text, MicroPython and the logic it runs, a C example of the whole pass, CMakeLists.txt,
    the conformance vectors, the licence, and MANIFEST.json with the digests. Every file says version and logic.
    """
    from replay.port.sources import write_sources
    from replay.settings import read_settings

    settings = read_settings(settings_file) if settings_file is not None else None
    check_writable(out)
    files = write_sources(out, settings)
    manifest = json.loads(files["MANIFEST.json"])
    click.echo(f"{out}: {len(files)} files, version {manifest['version']}")
    click.echo(f"logic {manifest['logic'][:16]}, vectors {manifest['vectors'][:16]}, {_told(manifest['settings'])}")


def _told(settings: str | None) -> str:
    return f"settings {settings[:16]}" if settings else "no settings: give them with --settings, or export them later"


@main.command()
@click.argument("settings_file", metavar="SETTINGS", type=PATH)
@click.option(
    "--to", "form", type=click.Choice(["c", "micropython", "st", "json"]), required=True, help="Form of the table."
)
@click.option("--out", type=PATH, metavar="FILE", help="File to write. Default: print the table.")
def export(settings_file: Path, form: str, out: Path | None) -> None:
    """Export checked SETTINGS as a table of constants with its digest.

    For a C compiler, a MicroPython board or a programmable logic controller (st, IEC 61131-3 Structured Text);
    json names settings, ranges, places, bits and rows of the table for any other language.
    """
    from replay.port.export import export_settings
    from replay.settings import read_settings

    give_text(out, export_settings(read_settings(settings_file), form))
