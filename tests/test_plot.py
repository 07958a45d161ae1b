"""The picture of a trace: what it shows, that it hides nothing, and where it is written."""

from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from replay.engine import follow, replay_trace
from replay.library import read_library
from replay.plot import draw
from replay.settings import read_settings
from replay.trace import read_trace
from tests.command import lubetrip
from tests.conftest import SETTINGS, trace_csv


def test_the_trail_is_that_of_the_replay(library: Path) -> None:
    """Catches a picture of another course than the one that was judged: states, stops, and the integral at a stop."""
    settings, trace = read_settings(library / "settings.toml"), read_trace(library / "fault.csv")
    trail, replay = follow(trace, settings), replay_trace(trace, settings)

    assert trail.stops == replay.stops
    assert [int(trail.states[change.time_ms // 1000]) for change in replay.changes] == [c.after for c in replay.changes]
    assert trail.integral_percent[129] == 100.0
    assert 0 < trail.integral_percent[128] < 100


def figure(library: Path, name: str):
    """Draw one trace of the library."""
    settings = read_settings(library / "settings.toml")
    entry = next(entry for entry in read_library(library).entries if entry.id == name)
    trace = read_trace(entry.path)
    return draw(trace, settings, follow(trace, settings), entry)


def texts(drawn) -> list[str]:
    """Return all words in the picture but numbers of the axes."""
    return [text.get_text() for axes in drawn.axes for text in axes.texts]


def test_levels_states_and_marks_are_named(library: Path) -> None:
    """Catches a line without a name, a state told by colour alone, a label or a stop that is left out."""
    words = texts(figure(library, "fault"))

    for word in ("cut-in", "cut-out", "floor", "vacuum", "reload", "lubricated", "tripped", "locked out"):
        assert word in words, word
    assert words.count("stop") == 3
    assert {"earliest", "deadline"} <= set(words)


def test_lines_break_where_nothing_was_read(library: Path) -> None:
    """Catches a gap bridged by a straight line, in which a fault could hide."""
    lines = trace_csv(400, lambda s: 120.0).splitlines()
    lines[50:60] = [line.replace(line.split(",")[1], "", 1) for line in lines[50:60]]
    (library / "quiet.csv").write_text("\n".join(lines[:200] + lines[230:]) + "\n")
    curve = figure(library, "quiet").axes[0].lines[0].get_ydata()

    assert np.isnan(curve[49:59]).all()
    assert np.isnan(curve[199])
    assert np.isfinite(curve[:49]).all()


def test_the_gauge_axis_counts_from_the_atmosphere_of_the_site(library: Path) -> None:
    """Catches a gauge axis at sea level for a high site: 89.9 kPa at 1000 m (U.S. Standard Atmosphere 1976)."""
    path = library / "settings.toml"
    path.write_text(SETTINGS.replace('"0 m"', '"1000 m"'))
    axes = figure(library, "quiet").axes[1]
    gauge = axes.child_axes[0]

    assert gauge.get_ylabel() == "kPa gauge at 1000 m"
    assert float(gauge._functions[0](89.8763)) == pytest.approx(0, abs=1e-3)  # noqa: SLF001 - no public way to ask


@pytest.mark.parametrize("name", ["out.png", "out.svg", "out.pdf"])
def test_the_command_draws_the_same_picture_twice(name: str, library: Path) -> None:
    """Catches a time stamp or a random name in the file, which makes every picture look changed."""
    first, second = library / name, library / f"again-{name}"

    assert lubetrip("show", library / "fault.csv", "-o", first).stdout == f"{first}\n"
    assert lubetrip("show", library / "fault.csv", "-o", second).returncode == 0
    assert len(first.read_bytes()) > 5000
    assert first.read_bytes() == second.read_bytes()


@pytest.mark.parametrize(("name", "said"), [("out.gif", ".png, .svg, .pdf"), ("nowhere/out.png", "cannot be written")])
def test_a_picture_that_cannot_be_written_is_refused(name: str, said: str, library: Path) -> None:
    """Catches a traceback of the drawing library, after the work."""
    done = lubetrip("show", library / "fault.csv", "-o", library / name)

    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr


def test_score_draws_what_went_wrong_and_junit_names_the_plot(library: Path) -> None:
    """Catches a failed case whose plot has to be searched for, and plots of traces on which all went well."""
    (library / "late.toml").write_text(SETTINGS.replace('"60 s"\nfloor_weight', '"30 min"\nfloor_weight'))
    plots, report = library / "plots", library / "report.xml"
    done = lubetrip("score", library, "--settings", library / "late.toml", "--plots", plots, "--junit", report)

    assert done.returncode == 1, done.stderr
    assert [path.name for path in plots.iterdir()] == ["0001-fault.png"]
    named = {p.get("value") for p in ET.parse(report).iter("property") if p.get("name") == "plot"}
    assert named == {str(plots / "0001-fault.png")}
