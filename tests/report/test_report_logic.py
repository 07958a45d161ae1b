"""The logic in the report: table in words and state diagram, both made from the rows that the machine runs."""

import re
from xml.etree import ElementTree as ET

import pytest

from protect import conditions, table
from replay.drawing import diagram, table_view
from replay.drawing.svg import NAMESPACE
from replay.engine import STATES
from replay.report.contents import _rules

pytestmark = pytest.mark.slow("simulates, scores or draws many traces")

ROWS = range(1, len(table.TABLE) + 1)
STAYING = {number for number, row in enumerate(table.TABLE, start=1) if row[0] == row[3]}  # a refused reset


def numbers_drawn(svg: str) -> list[int]:
    """Return the numbers of the rows in a diagram, each as often as it stands there."""
    found = ET.fromstring(svg).iter(f"{{{NAMESPACE}}}tspan")
    return sorted(int(part.attrib["data-row"]) for part in found if part.text == part.attrib["data-row"])


def test_every_row_stands_in_the_diagram_once() -> None:
    """Catches a row that is dropped or drawn twice."""
    assert numbers_drawn(diagram.diagram_svg()) == [number for number in ROWS if number not in STAYING]
    assert len(STAYING) == 1


def test_every_row_stands_in_the_table_once_in_its_order() -> None:
    """Catches a table view with a row left out, or with rows sorted: the order decides."""
    assert [row[0] for row in _rules().rows] == [str(number) for number in ROWS]


def test_each_arrow_leads_where_its_rows_lead() -> None:
    """Catches an arrow the wrong way round: ends of the line against the boxes of the states."""
    for edge in diagram.edges():
        for row in edge.rows:
            state, _, _, after, _ = table.TABLE[row.number - 1]
            assert (edge.begin, edge.end) == (state, after)
        path = next(path for path, _ in diagram._paths(edge, []))  # noqa: SLF001 - where the line is laid
        for point, number in ((path[0], edge.begin), (path[-1], edge.end)):
            distance = {name: abs(point - diagram.centre(name)).sum() for name in range(len(STATES))}
            assert min(distance, key=distance.__getitem__) == number


def test_a_row_that_is_dropped_or_added_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a diagram that is drawn from memory instead of from the table."""
    diagram.diagram_svg.cache_clear()
    monkeypatch.setattr(table, "TABLE", (*table.TABLE[1:], (5, conditions.LOW, 0, 3, table.NONE)))
    changed = diagram.diagram_svg()
    diagram.diagram_svg.cache_clear()

    assert numbers_drawn(changed) == [number for number in ROWS if number + 1 not in STAYING]
    assert "locked out to starved by 21" in changed
    assert "stopped to tripped" not in changed


def test_no_name_of_an_arrow_covers_another_or_a_state() -> None:
    """Catches a diagram in which a number cannot be read."""
    root = ET.fromstring(diagram.diagram_svg())
    rects = [
        tuple(float(rect.attrib[key]) for key in ("x", "y", "width", "height"))
        for rect in root.iter(f"{{{NAMESPACE}}}rect")
        if "x" in rect.attrib  # the paper has none
    ]

    assert len(rects) == len(STATES) + len(diagram.edges())
    for at, (x, y, width, height) in enumerate(rects):
        assert x >= 0
        assert y >= 0
        assert x + width <= diagram.WIDTH
        assert y + height <= diagram.HEIGHT
        for left, top, wide, high in rects[at + 1 :]:
            assert x + width <= left or left + wide <= x or y + height <= top or top + high <= y


def test_the_words_of_a_row_say_its_mask_and_value() -> None:
    """Catches a condition left out, or its negation: the words are read back into bits."""
    for number, (state, mask, value, after, _) in enumerate(table.TABLE, start=1):
        row = table_view.rule_rows()[number - 1]
        read_mask = read_value = 0
        for part in row.when.split(", "):
            name = part.removeprefix("not ").replace(" ", "_")
            bit = 1 << conditions.NAMES.index(name)
            read_mask |= bit
            read_value |= 0 if part.startswith("not ") else bit
        assert (read_mask, read_value) == (mask, value)
        assert (STATES[row.state], STATES[row.next_state]) == (STATES[state], STATES[after])


def test_every_effect_has_words() -> None:
    """Catches an effect that is new in the table and unknown here."""
    effects = {
        name: number
        for name, number in vars(table).items()
        if re.fullmatch("NONE|STOP_ON_\\w+|FORGET_\\w+|REFUSE_\\w+", name)
    }

    assert set(table_view.EFFECTS) == set(effects.values())
    assert all(row.outcome or row.effect == table.NONE for row in table_view.rule_rows())
