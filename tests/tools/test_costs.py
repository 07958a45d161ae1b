"""`pytest --costs` counts what tests cost, their children included."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SPENT_S = 0.4
TESTS = f"""
import subprocess, sys

SPEND = "import time\\nwhile time.process_time() < {SPENT_S}: pass"

def test_child():
    subprocess.run([sys.executable, "-c", SPEND], check=True)

def test_nothing():
    pass
"""


@pytest.mark.slow("starts another test run")
@pytest.mark.parametrize("workers", ["0", "2"])
def test_what_a_child_of_a_test_costs_is_counted_for_it_and_for_the_run(workers: str, tmp_path: Path) -> None:
    """Catches costs that leave out compilers, commands and other workers, and one test's told as another's."""
    (tmp_path / "test_costing.py").write_text(TESTS, encoding="utf-8")
    options = ["-p", "tests.conftest", "-c", "/dev/null", "-n", workers, "--costs"]
    command = [sys.executable, "-m", "pytest", *options, tmp_path / "test_costing.py"]
    told = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout

    child, nothing = (
        float(re.findall(rf"([\d.]+) +1 \S*::{name}$", told, re.MULTILINE)[0])
        for name in ("test_child", "test_nothing")
    )
    assert child >= SPENT_S
    assert nothing < SPENT_S
    (whole,) = re.findall(r"^(\d+) CPU s in all", told, re.MULTILINE)
    assert int(whole) >= 1
