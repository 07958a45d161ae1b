"""How every refusal of bad input reads."""

import functools
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

Command = TypeVar("Command", bound=Callable[..., Any])

LONGEST = 80  # characters of a value that a message shows


class Refusal(Exception):  # noqa: N818 - nothing erred: input was refused
    """Bad input, told to the user in one line: where, what stands there, which rule, what would do."""


def refusal(file: Path | str, where: str, rule: str, accepted: str = "", value: object = None) -> Refusal:
    """Build a Refusal.

    `where` names the line or key (or is empty for the file as a whole), `value`
    is what stands there, `rule` what is wrong with it, `accepted` what would do.
    """
    text = str(file)
    if where:
        text += f": {where}"
    if value is not None:
        text += f" = {shown(value)}"
    text += f": {rule}"
    if accepted:
        text += f"; accepted: {accepted}"
    return Refusal(text)


def shown(value: object) -> str:
    """Return a value as it would stand in a TOML file, cut to a readable length."""
    if isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, str):
        text = '"' + value.encode("unicode_escape").decode("ascii") + '"'
    elif isinstance(value, float):
        text = f"{value:.12g}"
    elif isinstance(value, list):
        text = "[" + ", ".join(shown(item) for item in value) + "]"
    else:
        text = str(value)
    return text if len(text) <= LONGEST else text[: LONGEST - 3] + "..."


def refusing(command: Command) -> Command:
    """Turn a Refusal of a command into one line on standard error and exit status 2."""

    @functools.wraps(command)
    def guarded(*args: Any, **kwargs: Any) -> Any:
        try:
            return command(*args, **kwargs)
        except Refusal as error:
            print(f"lubetrip: {error}", file=sys.stderr)  # noqa: T201 - how a command speaks
            raise SystemExit(2) from None

    return guarded  # type: ignore[return-value]
