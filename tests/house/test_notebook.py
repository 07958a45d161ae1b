"""What a notebook shows, and the worked example of the guide run as a reader would run it."""

import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from replay import notebook
from replay.drawing.picture import picture
from replay.library import read_library
from replay.score import Score, score
from replay.settings import Settings, read_settings
from replay.trace import Trace, read_trace
from tests.conftest import SETTINGS

pytestmark = pytest.mark.slow("starts workers or commands as processes of their own")

ROOT = Path(__file__).parents[2]
HOSTILE = '<script>alert("x")</script>'


@pytest.fixture
def shown(library: Path) -> tuple[Trace, Settings, Score]:
    """Return a trace, settings and a score whose names try to be markup."""
    settings = replace(read_settings(library / "settings.toml"), file=HOSTILE)
    trace = replace(read_trace(library / "fault.csv"), name=HOSTILE)
    text = (library / "library.toml").read_text().replace('family = "starved"', f"family = '{HOSTILE}'")
    (library / "library.toml").write_text(text)
    return trace, settings, score(read_library(library), settings)


def tags(html: str) -> list[str]:
    """Return the elements of a fragment."""
    found: list[str] = []
    parser = HTMLParser()
    parser.handle_starttag = lambda tag, attrs: found.append(tag)  # type: ignore[method-assign]
    parser.feed(html)
    return found


def test_a_trace_shows_its_curves_and_what_was_read(shown: tuple[Trace, Settings, Score]) -> None:
    """Catches a trace that shows as a heap of arrays."""
    html = notebook.trace_html(shown[0])

    assert "401 rows" in html
    assert "running in 100 % of them; 0 with a pressure missing" in html
    assert tags(html).count("svg") == 1


def test_settings_show_every_key_in_both_unit_systems(shown: tuple[Trace, Settings, Score]) -> None:
    """Catches a setting that is left out, and one in pascals."""
    html = notebook.settings_html(shown[1])

    for key in re.findall(r"^(\w+) = ", SETTINGS.split("[acceptance]")[0], re.MULTILINE):
        assert f".{key}<" in html, key
    assert "60.00 kPa" in html
    assert "8.70 psi" in html


def test_a_score_shows_verdict_limits_families_and_margins(shown: tuple[Trace, Settings, Score]) -> None:
    """Catches a score that shows no verdict, or another than its own."""
    html = notebook.score_html(shown[2])

    assert f"Acceptance: {shown[2].verdict}" in html
    assert "missed-trip probability" in html
    assert "121.0" in html
    assert tags(html).count("table") == 2


def test_names_are_only_text_and_nothing_is_fetched_or_run(shown: tuple[Trace, Settings, Score]) -> None:
    """Catches a file name or family that becomes part of the notebook, and addresses of elsewhere."""
    for thing, html_of in zip(shown, (notebook.trace_html, notebook.settings_html, notebook.score_html), strict=True):
        html = html_of(thing)
        assert "&lt;script&gt;" in html
        assert not {"script", "link", "iframe", "img"} & set(tags(html))
        assert set(re.findall(r"\w+://[^\s\"'<)]+", html)) <= {"http://www.w3.org/2000/svg"}
        assert len(html) < 60_000


def test_drawings_are_whole_svg_files(shown: tuple[Trace, Settings, Score]) -> None:
    """Catches a drawing that shows inside a page only, and one of nothing."""
    trace, settings, result = shown
    for drawing in (
        notebook.trace_svg(trace),
        notebook.score_svg(result),
        notebook.picture_svg(picture(trace, settings)),
    ):
        root = ET.fromstring(drawing)
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        assert len(list(root)) > 5


def test_a_trace_without_any_reading_shows(shown: tuple[Trace, Settings, Score]) -> None:
    """Catches a notebook cell that ends in a traceback over a dead sensor."""
    nothing = np.full(len(shown[0]), -(10**9))
    trace = replace(shown[0], oil_pa=nothing, suction_pa=nothing, crankcase_pa=nothing)

    assert "401 with a pressure missing" in notebook.trace_html(trace)


def test_every_drawing_lies_on_white_paper(shown: tuple[Trace, Settings, Score]) -> None:
    """Catches dark lines that vanish on the dark page of a notebook."""
    trace, settings, result = shown
    for drawing in (
        notebook.trace_svg(trace),
        notebook.score_svg(result),
        notebook.picture_svg(picture(trace, settings)),
    ):
        paper = next(iter(ET.fromstring(drawing)))
        assert paper.tag.endswith("rect")
        assert (paper.get("width"), paper.get("height"), paper.get("fill")) == ("100%", "100%", "#ffffff")


def test_scores_and_libraries_tell_themselves_in_one_line(library: Path) -> None:
    """Catches pages of dataclasses at the prompt and in the messages of a test runner."""
    traces = read_library(library)
    result = score(traces, read_settings(library / "settings.toml"))

    assert repr(traces) == f"Library('{library}': 2 traces of 2 families)"
    assert repr(result).startswith(
        "Score(met: 1 of 1 faults hit, 0 missed, 0 nuisance trips in 1.00 run hours; settings "
    )
    assert len(repr(result)) < 200


# What stands at the end of a cell, the forms in which it is shown, and what has to stand in the HTML.
CELLS = {
    "library": ("text/html text/plain", "<th>steady</th><td>0</td><td>1</td><td>0</td>"),
    "replay.read_trace(library.entries[0].path)": ("image/svg+xml text/html text/plain", "401 rows"),
    "settings": ("text/html text/plain", "60.00 kPa"),
    "result": ("image/svg+xml text/html text/plain", "Acceptance"),
    "replay.compare_scores(result, result)": ("text/html text/plain", "<pre>A  A\nB  B\n"),
    "replay.explain_trace(library.entries[0].path)": ("text/html text/plain", "outcome hit"),
    "replay.guarantee(settings)": ("text/html text/plain", "exact"),
    "replay.triage_logs([library.folder])": ("text/html text/plain", "Machines, the one to open first on top"),
    "tuned": ("text/html text/plain", "Pareto set"),
    "tuned.moved": ("text/html text/plain", "oil sensor offset"),
}
CELL_BY_CELL = """
import json, sys
from IPython.core.interactiveshell import InteractiveShell
shell = InteractiveShell.instance()
for line in BEGIN: assert shell.run_cell(line).success
shown = {}
for code in CELLS:
    done = shell.run_cell(code)
    assert done.success, code
    shown[code], _ = shell.display_formatter.format(done.result)
print("\\n" + json.dumps(shown))
"""


def test_a_real_shell_shows_each_type_in_its_forms(library: Path, tmp_path: Path) -> None:
    """Catches a registration under a name that no type has, and a formatter that IPython calls otherwise."""
    begin = (
        "import replay",
        f"library = replay.read_library({str(library)!r})",
        "settings = replay.read_settings(library.settings)",
        "result = replay.score_library(library)",
        "tuned = replay.tune_settings(library, ['trip_delay=40s,60s'], draws=5)",
    )
    code = CELL_BY_CELL.replace("BEGIN", repr(begin)).replace("CELLS", repr([*CELLS]))
    environment = os.environ | {"IPYTHONDIR": str(tmp_path), "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, env=environment)
    assert done.returncode == 0, done.stdout + done.stderr
    shown = json.loads(done.stdout.splitlines()[-1])

    for cell, (forms, told) in CELLS.items():
        assert " ".join(sorted(shown[cell])) == forms, cell
        assert told in shown[cell]["text/html"], cell
    assert shown["result"]["text/plain"].startswith("Score(met")
    assert "Pareto set" in shown["tuned"]["text/plain"]


def test_without_a_shell_none_is_imported() -> None:
    """Catches a command that waits for IPython wherever it happens to be installed."""
    code = "import sys, replay, replay.notebook, replay.cli; print([m for m in sys.modules if m.startswith('IPython')])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "[]"


def test_the_example_of_the_guide_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches an example that went out of step with the code, or prints something else than it says."""
    guide = (ROOT / "replay" / "guides" / "notebook.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```python\n(.*?)```", guide, re.DOTALL)
    monkeypatch.chdir(ROOT)
    names: dict[str, object] = {}
    example = next(block for block in blocks if "picture(" in block)
    exec(compile(example, "notebook.md", "exec"), names)  # noqa: S102 - the very point

    shown = {(module, name) for module, name, _, _ in notebook.SHOWN}
    for name in ("result", "settings", "trace"):
        kind = type(names[name])
        assert (kind.__module__, kind.__name__) in shown, name
    said = [line.partition("  # ") for line in example.splitlines() if "  # " in line]
    assert said
    for code, _, wanted in said:
        assert str(eval(code, names)) == wanted, code  # noqa: S307 - likewise
