"""Tables of other programs as one Parquet file: Arrow and Feather, JSON lines, tagged lines of time series.

A tagged line: "machine,tag=value field=1.5,other=2i 1700000000000000000", a line a moment, its time in ns since 1970.
"""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from replay.ground.places import for_arrow
from replay.ground.refusal import refusal

ARROW_FILE, ARROW_STREAM, FEATHER = b"ARROW1", b"\xff\xff\xff\xff", b"FEA1"
_PAIR = r"[^\s,=]+=(?:\"[^\"]*\"|[^\s,=]+)"
_LINE = re.compile(
    rf"(?P<name>[^\s,=]+)(?P<tags>(?:,{_PAIR})*)\s+(?P<fields>{_PAIR}(?:,{_PAIR})*)\s+(?P<time>\d{{10,19}})\s*"
)
_PAIRS = re.compile(r"([^\s,=]+)=(\"[^\"]*\"|[^\s,=]+)")


def is_table(path: Path, head: bytes) -> bool:
    """Say whether a file is one of these, by its beginning."""
    del path
    if head.startswith((ARROW_FILE, ARROW_STREAM, FEATHER)):
        return True
    first = head.removeprefix(b"\xef\xbb\xbf").lstrip().split(b"\n")[0].decode("utf-8", "replace").strip()
    return (first.startswith("{") and first.endswith("}")) or _LINE.fullmatch(first) is not None


def write_parquet(path: Path, head: bytes, target: Path) -> None:
    """Write the table as Parquet. Raises Refusal for a file that is damaged."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        with target.open("wb") as out:
            pq.write_table(_flat(_table(path, head)), out)
    except (pa.ArrowException, OSError, ValueError, KeyError) as error:
        why = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise refusal(path, "", f"not a readable table ({why})", "a whole Arrow, Feather or JSON lines file") from None


def _table(path: Path, head: bytes) -> Any:
    import pyarrow as pa
    from pyarrow import feather, json

    if head.startswith((ARROW_FILE, FEATHER)):
        return feather.read_table(for_arrow(path))
    if head.startswith(ARROW_STREAM):
        with path.open("rb") as stream:
            return pa.ipc.open_stream(stream).read_all()
    if head.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"{"):
        return json.read_json(for_arrow(path))
    return pa.Table.from_pylist(list(_tagged_lines(path)))


def _flat(table: Any) -> Any:
    """Return a table without records in its cells: each of their fields as a column."""
    import pyarrow as pa

    while any(pa.types.is_struct(kind) for kind in table.schema.types):
        table = table.flatten()
    return table


def _tagged_lines(path: Path) -> Iterator[dict[str, Any]]:
    """Yield a row for each line, its time in ms, names of tags and fields as columns."""
    import datetime as dt

    with path.open(encoding="utf-8-sig", errors="replace") as stream:
        for number, line in enumerate(stream, start=1):
            if not line.strip() or line.startswith("#"):
                continue
            found = _LINE.fullmatch(line.rstrip("\n"))
            if found is None:
                raise refusal(path, f"line {number}", "not a tagged line", "name,tag=a field=1.5 time", line.strip())
            digits = found["time"]
            seconds = int(digits) / 10 ** (len(digits) - len("1700000000"))
            row: dict[str, Any] = {"time": dt.datetime.fromtimestamp(seconds, dt.UTC), "measurement": found["name"]}
            row |= dict(_PAIRS.findall(found["tags"]))
            yield row | {name: _value(text) for name, text in _PAIRS.findall(found["fields"])}


def _value(text: str) -> float | str:
    if text in ("t", "T", "true", "True", "f", "F", "false", "False"):
        return float(text[0] in "tT")
    try:
        return float(text.rstrip("iu"))
    except ValueError:
        return text.strip('"')
