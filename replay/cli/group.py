"""The command `lubetrip` itself, which each module of commands adds its own to, and what they do with a Refusal."""

import contextlib
import os
import signal
import sys
import threading
from typing import Any

import click

from replay.ground.refusal import Refusal, visible


class Refusing(click.Command):
    """A command that turns a Refusal, or a failing disk, into one line on standard error and exit status 2."""

    def invoke(self, ctx: click.Context) -> Any:
        """Do what the command does, without a traceback for what the user can mend."""
        try:
            result = super().invoke(ctx)
            sys.stdout.flush()
        except Refusal as error:
            told = str(error)
        except BrokenPipeError:
            raise  # who reads the output has enough of it
        except OSError as error:
            told = visible(f"{error.filename or 'output'}: {error.strerror or error}")
            _drop_output()
        else:
            return result
        click.echo(f"lubetrip: {told}", err=True)
        raise SystemExit(2)


class Commands(click.Group):
    """A group of such commands."""

    command_class = Refusing
    group_class = type


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


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="lubetrip")
def main() -> None:
    """Replay the lubrication protection over traces of reciprocating compressors.

    Not a certified safety device and never the only protection: local codes and
    licensed practice come first; never defeat a factory safety.
    """
    if sys.stderr.isatty():
        _show_log()
    # Ended from outside, a command clears away what it had begun, as after Ctrl-C.
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, lambda number, _: sys.exit(128 + number))
