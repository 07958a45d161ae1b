"""The bars of what labels hang on."""

from types import SimpleNamespace
from typing import Any

import pytest

from replay.drawing.plot_sensitivity import draw_sensitivity


@pytest.mark.parametrize(("changed", "right"), [(0, 1.05), (4, 4.2)])
def test_bars_begin_at_nothing_and_an_empty_picture_says_why(changed: int, right: float) -> None:
    """Catches an axis with labels below none, and a picture without a bar or a word."""
    moved = SimpleNamespace(path="behaviour.flung", factor=0.7)
    effect = SimpleNamespace(moved=moved, flips=changed, undecided=0, changed=changed)
    found: Any = SimpleNamespace(effects=[effect], cases=8)

    (axes,) = draw_sensitivity(found).axes

    assert axes.get_xlim() == pytest.approx((0.0, right))
    assert [one.get_text() for one in axes.texts] == ([] if changed else ["none of them changes a label"])
