"""A test that is settled is not run again on the very same sources, and on any others it is."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.support import settled

pytestmark = pytest.mark.slow("starts other test runs")
ROOT = Path(__file__).parents[2]
TEST = """
import pathlib, pytest

@pytest.mark.settled("source.py")
def test_it():
    with pathlib.Path("ran").open("a") as file:
        file.write("x")
    assert "wrong" not in pathlib.Path("source.py").read_text()
"""
CONFTEST = """
import pathlib
from tests.support import settled

settled.ROOT, settled.ALWAYS = pathlib.Path(__file__).parent, ()

def pytest_configure(config):
    config.pluginmanager.register(settled)
    config.addinivalue_line("markers", "settled(sources, packages): as it is")
"""


def ran(folder: Path, **environment: str) -> tuple[int, int, str]:
    """Run the test in a folder; return its exit status, how often it has run there by now, and what was printed."""
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "-c",
        "pytest.ini",
        "--rootdir",
        ".",
        "-p",
        "no:xdist",
        "test_it.py",
    ]
    told = subprocess.run(
        command, cwd=folder, capture_output=True, text=True, check=False, env={"PYTHONPATH": str(ROOT), **environment}
    )
    return told.returncode, len((folder / "ran").read_text()), told.stdout


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with a test and the source that it hangs on."""
    for name, text in {
        "test_it.py": TEST,
        "conftest.py": CONFTEST,
        "source.py": "right\n",
        "pytest.ini": "[pytest]\n",
    }.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def test_the_same_is_not_run_again_and_another_source_is(folder: Path) -> None:
    """Catches a proof that is taken for one of other sources, a failure that is kept, and a run on CI that leaves it out."""
    assert ran(folder)[:2] == (0, 1)
    status, times, told = ran(folder)
    assert (status, times) == (0, 1)
    assert "1 of them came through on these very sources before" in told
    assert ran(folder, CI="1")[:2] == (0, 2)

    (folder / "source.py").write_text("wrong\n", encoding="utf-8")
    assert ran(folder)[:2] == (1, 3)
    assert ran(folder)[:2] == (1, 4)
    (folder / "source.py").write_text("right\n", encoding="utf-8")
    assert ran(folder)[:2] == (0, 4)
    (folder / "test_it.py").write_text(TEST + "\n", encoding="utf-8")
    assert ran(folder)[:2] == (0, 5)


def test_a_source_that_is_gone_is_no_settled_one() -> None:
    """Catches a mark whose folder was renamed, so that nothing any longer shows a change of it."""
    with pytest.raises(AssertionError, match="settled: no tests/nowhere"):
        settled.digest_of("tests/nowhere")
