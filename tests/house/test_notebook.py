"""What a notebook shows, and the worked example of the README run as a reader would run it."""

import re
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


def test_the_example_of_the_readme_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches an example that went out of step with the code, or prints something else than it says."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```python\n(.*?)```", readme, re.DOTALL)
    monkeypatch.chdir(ROOT)
    names: dict[str, object] = {}
    example = next(block for block in blocks if "picture(" in block)
    exec(compile(example, "README.md", "exec"), names)  # noqa: S102 - the very point

    shown = {(module, name) for module, name, _, _ in notebook.SHOWN}
    for name in ("result", "settings", "trace"):
        kind = type(names[name])
        assert (kind.__module__, kind.__name__) in shown, name
    said = [line.partition("  # ") for line in example.splitlines() if "  # " in line]
    assert said
    for code, _, wanted in said:
        assert str(eval(code, names)) == wanted, code  # noqa: S307 - likewise
