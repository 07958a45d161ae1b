"""The years campaign in short: so many hours as asked for, and what they say with limits."""

import re

import pytest
from click.testing import CliRunner

from tests.campaigns.years import years


@pytest.mark.slow("runs some days of two machines")
def test_the_campaign_runs_the_hours_asked_for_and_tells_both_rates_with_limits() -> None:
    """Catches a campaign that runs fewer hours than it says, and a closing line without limits."""
    done = CliRunner().invoke(years, ["--hours", "90", "--days", "2", "--seed", "5"])
    closing = done.stdout.splitlines()[-1]

    assert done.exit_code == 0, done.output
    assert re.match(
        r"96 machine-hours, 0 of 2 machine-years kept from before, .* s with 1 jobs: nuisance trips per machine-year ",
        closing,
    )
    assert re.search(r"of \d+ faults that spoil a machine \d+ missed \(\d\.\d{4} to \d\.\d{4}\)", closing)
