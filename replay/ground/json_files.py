"""JSON that a command reads back."""

import json
from pathlib import Path
from typing import Any

from replay.ground.places import check_file
from replay.ground.refusal import or_refuse, refusal

MOST_BYTES = 1 << 30


def read_json(path: Path, accepted: str) -> Any:
    """Read a JSON file; `accepted` says what would do. Raises Refusal, for numbers that JSON does not know too."""
    check_file(path, MOST_BYTES)
    try:
        with or_refuse(path, "read", accepted):
            return json.loads(path.read_text(encoding="utf-8"), parse_int=_integer, parse_constant=_constant)
    except (ValueError, RecursionError):
        raise refusal(path, "", "not JSON", accepted) from None


def read_json_report(path: Path, schema: str, accepted: str) -> dict[str, Any]:
    """Read a JSON report of this schema; `accepted` says what would do. Raises Refusal."""
    report = read_json(path, accepted)
    if not isinstance(report, dict) or report.get("schema") != schema:
        raise refusal(path, "schema", f"not {schema}", accepted)
    return report


def _integer(text: str) -> int:
    number = int(text)
    if not -(1 << 63) <= number < 1 << 63:
        raise ValueError(text[:20])
    return number


def _constant(text: str) -> float:
    raise ValueError(text)
