"""What the tests of the label page share: a library to label, the data of a page, a reviewer in Chromium."""

import base64
import json
import re
import zlib
from pathlib import Path
from typing import Any

from tests.conftest import SETTINGS, trace_csv
from tests.support.bench_page import driven

ENTRY = """[[trace]]
id = {0}
file = "{1}.csv"
family = "tells-the-label-{1}"
machine = "m"
oil = "o"
origin = "recorded: cold store"
note = "note-of-{1}"
start_utc = 2026-10-25T00:50:00Z
zone = "Europe/Oslo"
undecided = true
"""
FAULTY = (100, 700)  # s in which the machine of "fault" has no oil pressure


def room_to_label(folder: Path, *more: str) -> Path:
    """Write a library of three imported traces of 900 s, each with its texts; more: further ids of the quiet one."""
    dry = lambda begin, end: lambda s: 5.0 if begin <= s < end else 120.0  # noqa: E731
    traces = {"fault": dry(*FAULTY), "quiet": dry(0, 0), "dip": dry(300, 320)}
    text = 'settings = "settings.toml"\n\n'
    for name, net in traces.items():
        (folder / f"{name}.csv").write_text(trace_csv(900, net), encoding="utf-8")
        text += ENTRY.format(f'"{name}"', name)
    text += "".join(ENTRY.format(json.dumps(identity), "quiet") for identity in more)
    (folder / "settings.toml").write_text(SETTINGS, encoding="utf-8")
    (folder / "library.toml").write_text(text, encoding="utf-8")
    return folder


def embedded_labels(text: str) -> dict[str, Any]:
    """Return the data that a label page holds."""
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', text, re.DOTALL)
    assert found is not None
    return dict(json.loads(found[1]))


def unpacked(trace: dict[str, Any]) -> dict[str, Any]:
    """Return what is packed with a trace of a page."""
    return dict(json.loads(zlib.decompress(base64.b64decode(trace["packed"]))))


def reviewed(file: Path, folder: Path, *work: tuple[Any, ...]) -> dict[str, Any]:
    """Let a reviewer in Chromium do these things on a page and return what was seen after each."""
    return driven(file, folder, *work, by="label.mjs")
