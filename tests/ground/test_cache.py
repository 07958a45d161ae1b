"""What is kept on disk between runs: it may be missing, damaged or in nobody's reach, and nothing comes out otherwise."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

UNUSUAL = "from replay.ground.units import pressure_unit\nprint(pressure_unit('kgf/cm2')[0])\n"
WHERE = "from replay.ground.cache import project_cache\nprint(project_cache())\n"


def run(code: str, **environment: str) -> str:
    """Return what a program prints; without XDG_CACHE_HOME and HOME but for those given."""
    kept = {name: value for name, value in os.environ.items() if name not in ("XDG_CACHE_HOME", "HOME")}
    command = [sys.executable, "-c", code]
    done = subprocess.run(command, env=kept | environment, capture_output=True, text=True, check=True)
    return done.stdout.strip()


def test_units_are_read_once_on_a_machine(tmp_path: Path) -> None:
    """Catches a cache that is written anew by each run, and one that nothing is kept in."""
    first = run(UNUSUAL, XDG_CACHE_HOME=str(tmp_path))
    kept = {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*.pickle")}

    assert kept
    assert run(UNUSUAL, XDG_CACHE_HOME=str(tmp_path)) == first == "98066.5"
    assert {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*.pickle")} == kept


@pytest.mark.slow("starts processes that load all units")
def test_damaged_units_are_read_anew(tmp_path: Path) -> None:
    """Catches a unit that is not known any more since a disk was full."""
    run(UNUSUAL, XDG_CACHE_HOME=str(tmp_path))
    for path in tmp_path.rglob("*.pickle"):
        path.write_bytes(path.read_bytes()[:100])

    assert run(UNUSUAL, XDG_CACHE_HOME=str(tmp_path)) == "98066.5"


@pytest.mark.slow("starts processes that load all units")
@pytest.mark.parametrize("place", ["FILE", "/proc", "/dev/null"])
def test_where_nothing_can_be_kept_a_folder_is_made_and_goes_again(place: str, tmp_path: Path) -> None:
    """Catches a traceback in a home on a read-only disk, and a folder left in every run."""
    (tmp_path / "file").touch()
    home = str(tmp_path / "file") if place == "FILE" else place
    folder = Path(run(WHERE, XDG_CACHE_HOME=home))

    assert not folder.is_relative_to(home)
    assert not folder.exists()
    assert run(UNUSUAL, XDG_CACHE_HOME=home) == "98066.5"


@pytest.mark.slow("starts processes that load all units")
def test_without_a_home_units_are_read_too() -> None:
    """Catches a cache that asks for a home where the environment names none."""
    nobody = "import pathlib\ndef home(*_):\n    raise RuntimeError('no home')\npathlib.Path.home = home\n"

    assert run(nobody + UNUSUAL) == "98066.5"
    assert "lubetrip-" in run(nobody + WHERE)


def test_the_cache_stands_under_the_name_of_the_project(tmp_path: Path) -> None:
    """Catches a cache in somebody else's folder."""
    assert run(WHERE, XDG_CACHE_HOME=str(tmp_path)) == str(tmp_path / "lubetrip")
    assert run(WHERE, HOME=str(tmp_path)) == str(tmp_path / ".cache" / "lubetrip")
