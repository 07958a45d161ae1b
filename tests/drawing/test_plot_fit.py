"""A fit as a picture: what is marked in it is named."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from replay.drawing.plot_fit import OUTSIDE, draw_fit
from tests.fitting.test_held_out import a_run, flat, predicted


@pytest.mark.slow("draws with matplotlib")
@pytest.mark.parametrize("lost", [False, True])
def test_stretches_that_no_member_makes_are_named_below_the_plot(lost: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches rose stretches of a held-out run that nobody says the meaning of, and one named where there is none."""
    net = flat(150e3)
    quiet = predicted(a_run(net), [net, net], None, monkeypatch)
    if lost:
        net = np.where(np.arange(len(net)) > 200, 20e3, net)
    fit: Any = SimpleNamespace(runs=[quiet], held_out=[predicted(a_run(net), [flat(150e3)] * 2, None, monkeypatch)])
    (legend,) = draw_fit(fit).legends

    assert ([text.get_text() for text in legend.get_texts()].count(OUTSIDE)) == lost
