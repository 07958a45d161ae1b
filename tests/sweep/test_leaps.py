"""The sweep's leaps against the plain replay, on traces drawn onto the limits of the leaps (tests/campaigns/leaps.py)."""

import pytest
from click.testing import CliRunner

from tests.campaigns.leaps import differs, drawn, leaps

pytestmark = pytest.mark.slow("compiles what only it runs")

SEED = 1
CASES = 3000  # of the slips in named_slips.toml the rarest, of the reload guard, is told by case 2220


def test_every_candidate_comes_out_as_its_plain_replay_on_the_limits_of_the_leaps() -> None:
    """Catches a leap whose limit is off by one: of a level, an age, a gap, a delay, the zero at standstill, the end of a block."""
    assert next((number for number in range(CASES) if differs(drawn(SEED, number))), None) is None


def test_a_case_belongs_to_its_number_and_the_campaign_counts_them() -> None:
    """Catches cases that nobody can draw again, and a campaign that looks at none."""
    one, again, other = drawn(SEED, 7), drawn(SEED, 7), drawn(SEED, 8)
    done = CliRunner().invoke(leaps, ["--cases", "12"])

    assert one.trace.oil_pa.tolist() == again.trace.oil_pa.tolist() != other.trace.oil_pa.tolist()
    assert one.candidates == again.candidates
    assert (done.exit_code, "12 drawn cases of 3 or 4 candidates, 0 differ" in done.output) == (0, True)
