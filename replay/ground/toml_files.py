"""TOML that a user wrote: read whole, and refused in words where it is none or costs more than it says."""

import re
from pathlib import Path
from typing import Any

import tomli  # the reader of the standard library, compiled: six times as fast

from replay.ground.places import check_file
from replay.ground.refusal import refusal

MOST_BYTES = 1 << 24  # of a file that somebody writes
LIBRARY_BYTES = 1 << 30  # of one with an entry for each trace
# A key of n parts costs the reader of TOML n * n steps and places, so that a small file would fill the memory.
_LONG_KEY = re.compile(r"""(?<![\w.-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){33}""")

_MOST_DOTS = 32  # in a line: with fewer it holds no such key

NotTomlError = tomli.TOMLDecodeError


def parse_toml(text: str) -> dict[str, Any]:
    """Return what a TOML text says. Raises NotTomlError, ValueError and RecursionError for what is none."""
    return tomli.loads(text)


def read_toml(path: Path, what: str) -> dict[str, Any]:
    """Read a TOML file; `what` names its kind in the Refusal raised when that fails."""
    check_file(path, LIBRARY_BYTES if what == "library" else MOST_BYTES)
    try:
        text = path.read_text(encoding="utf-8-sig")
        if any(line.count(".") > _MOST_DOTS for line in text.split("\n")) and _LONG_KEY.search(text):
            raise refusal(path, "", "not valid TOML: a key of more parts than can be meant", "keys of a few parts")
        table = parse_toml(text)
        _check_integers(path, table)
    except FileNotFoundError:
        raise refusal(path, "", f"no such {what}", "a path that exists") from None
    except OSError as error:
        raise refusal(path, "", f"this {what} cannot be read ({error.strerror})") from None
    except UnicodeDecodeError as error:
        raise refusal(path, f"byte {error.start}", "not UTF-8 text", "a TOML file in UTF-8") from None
    except NotTomlError as error:
        raise refusal(path, "", f"not valid TOML: {error}") from None
    except ValueError:
        raise refusal(path, "", "not valid TOML: a number with thousands of digits", "numbers of 64 bits") from None
    except RecursionError:
        raise refusal(path, "", "not valid TOML: nested too deep to be read") from None
    return table


def _check_integers(path: Path, value: object, where: str = "") -> None:
    """Refuse an integer beyond 64 bits, where TOML ends."""
    if isinstance(value, dict):
        for key, item in value.items():
            _check_integers(path, item, f"{where}.{key}" if where else key)
    elif isinstance(value, list):
        for item in value:
            _check_integers(path, item, where)
    elif isinstance(value, int) and not -(1 << 63) <= value < 1 << 63:
        raise refusal(path, where, "an integer beyond 64 bits", "-2^63 to 2^63 - 1")
