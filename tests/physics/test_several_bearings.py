"""Journals of several machines told as one: which spells are one, and when a share of all machines is spoilt."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from replay.physics import recorded
from replay.physics.recorded import ONE_SPELL_S, SeveralBearings
from replay.physics.simulate import Damage, Spell

Times = tuple[float | None, float | None, float | None]


@pytest.fixture(autouse=True)
def told_machines(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the journals of each machine be what a test makes of them."""
    monkeypatch.setattr(recorded, "RecordedBearings", lambda made: made)


def several(*machines: list[Spell]) -> SeveralBearings:
    """Return bearings of machines that have suffered these spells."""
    each: Any = [SimpleNamespace(damage=Damage(tuple(spells))) for spells in machines]
    return SeveralBearings(each)


def spell(begin_s: float | None, *times_s: float | None) -> Spell:
    """Return a spell that begins here, with the times at which its journals are spoilt."""
    times: Any = times_s
    return Spell(begin_s, times)


@pytest.mark.parametrize(
    ("spoilt", "told"),
    [
        (10, (100.0, 104.0, 108.0)),  # the 1st, 5th and 9th of ten
        (9, (100.0, 104.0, 108.0)),
        (8, (100.0, 104.0, None)),  # nine in ten never are
        (5, (100.0, 104.0, None)),
        (4, (100.0, None, None)),
        (1, (100.0, None, None)),
    ],
)
def test_a_column_is_spoilt_when_its_share_of_all_machines_is(spoilt: int, told: Times) -> None:
    """Catches a share of the spoilt ones alone, quantiles that were exchanged, and a machine further in or out."""
    machines = [[spell(10.0, *[100.0 + number] * 3)] if number < spoilt else [] for number in range(10)]
    (one,) = several(*machines[::-1]).damage.spells

    assert one == Spell(10.0, told)


def test_spells_that_begin_near_each_other_are_one() -> None:
    """Catches one fault told as two, two told as one, and a spell without want of oil that begins with the log."""
    machines = [[spell(50.0, 100.0, 100.0, 100.0)], [spell(50.0 + ONE_SPELL_S - 0.1, 120.0, 120.0, 120.0)]]
    assert [one.starved_s for one in several(*machines).damage.spells] == [50.0]
    machines[1] = [spell(50.0 + ONE_SPELL_S, 120.0, 120.0, 120.0)]
    assert [one.starved_s for one in several(*machines).damage.spells] == [50.0, 60.0]
    machines[1] = [spell(None, 200.0, 210.0, None)]
    assert [one.starved_s for one in several(*machines).damage.spells] == [50.0, None]


def test_oil_left_is_the_low_the_middle_and_the_high_of_all_machines() -> None:
    """Catches a likely journal taken for a pessimistic one, and a mean of machines of which one has none left."""
    each: Any = [SimpleNamespace(take=lambda *_, n=n: np.array([[n / 10, 0.5 + n / 100, n / 10]])) for n in range(11)]
    found = SeveralBearings(each)
    nothing: Any = None

    assert found.take(nothing).tolist() == [[pytest.approx(0.1), 0.55, pytest.approx(0.9)]]
