"""What a command does with a Refusal: one line on standard error, exit status 2, no traceback."""

import contextlib
import functools
import os
import sys
from collections.abc import Callable
from typing import Any, TypeVar

from replay.ground.refusal import Refusal, visible

Command = TypeVar("Command", bound=Callable[..., Any])


def refusing(command: Command) -> Command:
    """Turn a Refusal of a command, or a failing disk, into one line on standard error and exit status 2."""

    @functools.wraps(command)
    def guarded(*args: Any, **kwargs: Any) -> Any:
        try:
            result = command(*args, **kwargs)
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
        print(f"lubetrip: {told}", file=sys.stderr)  # noqa: T201 - how a command speaks
        raise SystemExit(2)

    return guarded  # type: ignore[return-value]


def _drop_output() -> None:
    """Let what is left of the output go nowhere, since it would fail again at the end of the process."""
    with contextlib.suppress(OSError, ValueError):  # not a file: nothing fails at the end
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
