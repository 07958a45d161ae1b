"""JSON reports that other commands read back."""

import json
from pathlib import Path
from typing import Any

from replay.errors import refusal


def read_json_report(path: Path, schema: str, accepted: str) -> dict[str, Any]:
    """Read a JSON report of this schema; `accepted` says what would do. Raises Refusal."""
    try:
        report = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise refusal(path, "", f"cannot be read ({error.strerror})", accepted) from None
    except (ValueError, RecursionError):
        raise refusal(path, "", "not JSON", accepted) from None
    if not isinstance(report, dict) or report.get("schema") != schema:
        raise refusal(path, "schema", f"not {schema}", accepted)
    return report
