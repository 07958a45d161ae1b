"""The command `lubetrip` itself, which each module of commands adds its own to, and how a command that fails ends.

Exit status, besides what a command itself says with 0, 1 and 3:

    2      bad input, a disk that fails, too little memory: one line says what would do
    70     nobody foresaw it: one line names it; with LUBETRIP_TRACEBACK=1 the whole traceback
    130    interrupted (Ctrl-C)
    141    nobody reads the output any more
    143    ended from outside (SIGTERM)

1 is a verdict and never a failure: who asks for a verdict must not take a crash for one.
"""

import contextlib
import functools
import io
import os
import signal
import sys
import threading
import traceback
from typing import Any, NoReturn

import click

from replay.ground.refusal import Refusal, visible

REFUSED, UNFORESEEN, INTERRUPTED, UNREAD, ENDED = 2, 70, 130, 141, 143
TRACEBACK = "LUBETRIP_TRACEBACK"
MEMORY = "out of memory; accepted: a smaller file, fewer --jobs, or a computer with more memory"


def _shown_in(context: click.Context, _option: click.Parameter, name: str | None) -> None:
    if name is not None:
        from replay.ground.shown import SYSTEMS, shown_in

        context.with_resource(shown_in(SYSTEMS[name]))


UNITS = click.Option(
    ["--units"],
    type=click.Choice(["us", "bar", "kpa"]),
    expose_value=False,
    callback=_shown_in,
    help="Show pressures in psi, psig and inHg vac (us), in bar, or in kPa. Default: the units of the settings file.",
)


class Command(click.Command):
    """A command, with what every command has: units, examples in its help, and inputs that stay as they are."""

    def __init__(self, *args: Any, **extra: Any) -> None:
        super().__init__(*args, **extra)
        self.params.append(UNITS)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command, unless it would write over what it reads."""
        from replay.cli.options import check_inputs_stay

        check_inputs_stay(ctx)
        return super().invoke(ctx)

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the examples."""
        _write_examples(ctx, formatter)


def _write_examples(ctx: click.Context, formatter: click.HelpFormatter) -> None:
    from replay.cli.topics import EXAMPLES

    program, _, name = ctx.command_path.partition(" ")
    lines = EXAMPLES.get(name, ())
    if lines:
        with formatter.section("Examples"):
            for line in lines:
                formatter.write(f"  {program} {line}\n")


class Commands(click.Group):
    """A group of commands, how its help lists them, and how each ends."""

    command_class = Command
    group_class = type

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands by topic."""
        from replay.cli.topics import TOPICS

        left = dict.fromkeys(self.list_commands(ctx))
        topics = [(topic, [*names]) for topic, names in TOPICS.items()]
        for topic, names in (*topics, ("Commands", [*left])):
            rows = [(name, self.commands[name]) for name in names if name in left]
            for name, _ in rows:
                del left[name]
            if rows:
                with formatter.section(topic):
                    wide = formatter.width - 6 - max(len(name) for name, _ in rows)
                    formatter.write_dl([(name, command.get_short_help_str(wide)) for name, command in rows])

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the examples of a group, and below all commands how they end."""
        if ctx.parent is not None:
            _write_examples(ctx, formatter)
            return
        from replay.cli.topics import STATUS

        with formatter.section("Exit status"):
            formatter.write_dl(STATUS)
        formatter.write("\nExamples: lubetrip COMMAND --help.  To read: lubetrip help\n")

    def main(self, *args: Any, standalone_mode: bool = True, **extra: Any) -> Any:
        """Run a command and end the process, whatever happened, with the status that the head of this module tells."""
        run: Any = functools.partial(super().main, *args, standalone_mode=False, **extra)
        if not standalone_mode:
            return run()
        if isinstance(sys.stdout, io.TextIOWrapper):  # a name of a file may hold what no text does
            sys.stdout.reconfigure(errors="backslashreplace")
        try:
            try:
                status = run()
            except SystemExit as error:
                status = error.code
            sys.stdout.flush()  # here, where it can be told that this fails
        except (Exception, KeyboardInterrupt) as error:  # noqa: BLE001 - the last to look at it
            _end(error)
        sys.exit(status if isinstance(status, int) else 0)


def _end(error: BaseException) -> NoReturn:
    """End with a line on standard error and the status that goes with what was raised."""
    if isinstance(error, click.UsageError):
        path = error.ctx.command_path if error.ctx else "lubetrip"
        where, rule = path.partition(" ")[2], error.format_message().rstrip(".")
        _tell(f"{f'{where}: ' if where else ''}{rule}; accepted: see {path} --help", error.exit_code)
    if isinstance(error, click.ClickException):
        _tell(error.format_message(), error.exit_code)
    if isinstance(error, click.Abort):  # what click makes of it
        error = error.__cause__ or KeyboardInterrupt()
    if isinstance(error, KeyboardInterrupt):
        _tell("interrupted", INTERRUPTED)
    if isinstance(error, BrokenPipeError):
        _drop_output()
        sys.exit(UNREAD)
    if isinstance(error, Refusal):
        _tell(str(error), REFUSED)
    if isinstance(error, MemoryError):
        _tell(MEMORY, REFUSED)
    if isinstance(error, OSError) and error.errno:  # without a number it comes from no disk: a library not to be loaded
        _drop_output()
        _tell(f"{error.filename or 'output'}: {error.strerror or error}", REFUSED)
    if os.environ.get(TRACEBACK):
        click.echo("".join(traceback.format_exception(error)), err=True, nl=False)
        sys.exit(UNFORESEEN)
    first = str(error).splitlines()[:1]
    rule = f"unexpected error: {type(error).__name__}{''.join(f' ({line[:200]})' for line in first)}"
    _tell(f"{rule}; nothing was judged; {TRACEBACK}=1 shows the traceback for a report", UNFORESEEN)


def _tell(text: str, status: int) -> NoReturn:
    with contextlib.suppress(OSError):  # nobody reads that either
        click.echo(f"lubetrip: {visible(text)}", err=True)
    sys.exit(status)


def _show_log() -> None:
    """Show on standard error what takes its time and why."""
    import logging

    log, shown = logging.getLogger("lubetrip"), logging.StreamHandler()
    shown.setFormatter(logging.Formatter("lubetrip: %(message)s"))
    log.addHandler(shown)
    log.setLevel(logging.INFO)


def _drop_output() -> None:
    """Let what is left of the output go nowhere, since it would fail again at the end of the process."""
    with contextlib.suppress(OSError, ValueError):  # not a file: nothing fails at the end
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _version(context: click.Context, _option: click.Parameter, wanted: bool) -> None:  # noqa: FBT001 - click's own
    """Tell which release this is, and which logic it runs."""
    if wanted:
        import importlib.metadata

        from firmware_ref.digest import logic_digest

        click.echo(f"lubetrip, version {importlib.metadata.version('lubetrip')}, logic {logic_digest()[:16]}")
        context.exit()


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--version", is_flag=True, expose_value=False, is_eager=True, callback=_version, help="Show the version and exit."
)
def main() -> None:
    """Test the oil pressure protection of reciprocating refrigeration compressors on traces.

    Not a certified safety device and never the only protection: local codes and
    licensed practice come first; never defeat a factory safety.
    """
    if sys.stderr.isatty():
        _show_log()
    # Ended from outside, a command clears away what it had begun, as after Ctrl-C.
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, lambda number, _: sys.exit(128 + number))
