"""What the tests of the bench page share: libraries, the data of a page, its scripts under node, and a user in Chromium."""

import json
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest

from replay.library import Library, read_library
from replay.page.bench import page
from replay.settings import read_settings
from tests.support.toolchain import ROOT, need

FIXTURES = ROOT / "fixtures"
BROWSER = ROOT / "tests" / "browser"
CHROMIUM = "chromium"


def some(every: int) -> Library:
    """Return the demo library with one of so many traces, from the sixth on."""
    library = read_library(FIXTURES)
    return Library(library.folder, library.entries[5::every], library.settings)


def page_text(library: Library, settings_file: Path) -> str:
    """Return the page of a library."""
    return page(library, read_settings(settings_file)).text


def embedded(text: str) -> dict[str, Any]:
    """Return the data that a page holds, its module under "port"."""
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', text, re.DOTALL)
    module = re.search(r'<script type="application/octet-stream" id="port">(.*?)</script>', text, re.DOTALL)
    assert found is not None and module is not None
    return {**json.loads(found[1]), "port": module[1]}


def parts(data: dict[str, Any], folder: Path, **work: Any) -> dict[str, Any]:
    """Let the scripts of the page do some work under node."""
    (folder / "data.json").write_text(json.dumps(data), encoding="utf-8")
    (folder / "work.json").write_text(json.dumps(work), encoding="utf-8")
    arguments = [BROWSER / "page_parts.mjs", ROOT / "replay" / "page", folder / "data.json", folder / "work.json"]
    done = subprocess.run([need("node"), *arguments], capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stderr
    return dict(json.loads(done.stdout))


def driven(file: Path, folder: Path, *work: tuple[Any, ...], by: str = "drive.mjs") -> dict[str, Any]:
    """Let a user in Chromium do these things on a page and return what was seen after each; by: what knows the page."""
    if not (BROWSER / "node_modules").is_dir():
        pytest.skip("playwright-core is not installed: run tests/tools.sh")
    need(CHROMIUM)
    (folder / "steps.json").write_text(json.dumps(work), encoding="utf-8")
    command = [need("node"), BROWSER / by, file, folder / "steps.json", folder]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=240)
    assert done.returncode == 0, done.stderr
    return dict(json.loads(done.stdout))
