"""The benchmark of the sweep engine: its peers give the same results, whatever they take."""

import pytest

from tests.benchmarks import tune
from tests.support.toolchain import need

pytestmark = pytest.mark.slow("compiles what only it runs")


def test_a_small_run_compares_every_peer(capsys: pytest.CaptureFixture[str]) -> None:
    """Catches a benchmark that no longer runs, and ratios between engines that answer different questions."""
    need("gcc")
    tune.run(tune.QUICK)
    said = capsys.readouterr().out

    peers = ("interpreted reference", "numpy over candidates", "compiled loop", "C loop, gcc -O3")
    compared = [line for line in said.splitlines() if line.strip().startswith(peers)]
    assert len(compared) == 5 * len(peers)
    assert all("  same" in line for line in compared)
    assert "DIFFERENT" not in said
    assert "x sweep" in said
    assert "ms per hour" in said
    assert "us each" in said
