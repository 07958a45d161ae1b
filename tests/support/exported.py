"""The tables of `lubetrip export` read back: whole, admitted, and of the digest that stands in them."""

import re
from pathlib import Path

from protect import ranges, settings
from replay.ground.refusal import refusal
from replay.settings import Settings

FORMS = ("c", "micropython", "st", "json")
# Where a value stands in the text of each form.
VALUES = (
    r"INT32_C\((-?\d{1,10})\)",
    r"^    (-?\d{1,10}),",
    r"settings\[\d+\] := (-?\d{1,10});",
    r'"value": (-?\d{1,10})\b',
)


def read_exported(path: Path) -> tuple[tuple[int, ...], str]:
    """Read a table back: (settings[25], digest). Raises Refusal for one that is not whole and admitted."""
    try:
        text = path.read_text(encoding="ascii")
    except (OSError, UnicodeDecodeError):
        raise refusal(path, "", "this table cannot be read", "a file written by export") from None
    numbers = next(filter(None, (re.findall(value, text, re.MULTILINE) for value in VALUES)), [])
    digest = re.search(r'"([0-9a-f]{64})"', text)
    if len(numbers) != ranges.SETTINGS_SIZE or digest is None:
        raise refusal(path, "", f"{len(numbers)} values", f"{ranges.SETTINGS_SIZE} values and a digest")
    values = [int(number) for number in numbers]
    again = list(values)
    if settings.first_fault(again) != settings.ALL_RIGHT:
        raise refusal(path, "", "values outside what is admitted", "a table written by export")
    settings.derive(again)
    if again != values or Settings(str(path), tuple(values), 0.0, None).digest != digest[1]:  # type: ignore[arg-type]
        raise refusal(path, "", "the digest does not fit the values", "a table that was not edited")
    return tuple(values), digest[1]
