"""A fit on two runs of a machine that nobody described predicts a third. `python -m tests.campaigns fits` does more."""

import pytest

from tests.campaigns.fits import Told, line, summary, told_of


@pytest.mark.slow("fits a machine: some ten thousand simulations")
def test_a_fit_on_two_runs_tells_when_the_demo_settings_trip_on_a_third() -> None:
    """Catches a fit that explains the runs it was shown and nothing else."""
    told = told_of(12, 1001)

    assert told.read_s is not None, line(told)
    assert told.near, line(told)
    assert told.covered, line(told)


def test_what_never_happens_is_told_as_well() -> None:
    """Catches a campaign that leaves out what it did not foresee, or counts a trip that never comes as near."""
    told = [
        Told(1, "oil", 100.0, 104.0, 90.0, 110.0),
        Told(2, "oil", 100.0, 106.0, 90.0, 110.0),
        Told(3, "oil", 200.0, 209.0, 201.0, 220.0),
        Told(4, "oil", 100.0, None, 90.0, None),
        Told(5, "oil", None, 100.0, 90.0, None),
        Told(6, "oil"),
        Told(7, "oil", refused="no"),
    ]

    assert [one.near for one in told[:6]] == [True, False, True, False, False, True]
    assert [one.covered for one in told[:6]] == [True, True, False, True, True, True]
    assert summary(told) == (
        "7 made machines, 1 refused; a trip happens or is predicted in 5: median error 9.0 s, within 5 s or 5 % in 2, "
        "interval holds it in 4; neither happens nor is predicted in 1"
    )
