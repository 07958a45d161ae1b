"""What is kept on disk between runs: it may be missing, damaged or in nobody's reach, and nothing comes out otherwise."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from replay.ground.cache import keep, read_kept

UNUSUAL = "from replay.ground.units import pressure_unit\nprint(pressure_unit('kgf/cm2')[0])\n"
WHERE = "from replay.ground.cache import project_cache\nprint(project_cache())\n"


def run(code: str, *arguments: str, **environment: str) -> str:
    """Return what a program prints; without XDG_CACHE_HOME and HOME but for those given."""
    kept = {name: value for name, value in os.environ.items() if name not in ("XDG_CACHE_HOME", "HOME")}
    command = [sys.executable, "-c", code, *arguments]
    done = subprocess.run(command, env=kept | environment, capture_output=True, text=True, check=True)
    return done.stdout.strip()


@pytest.mark.slow("starts processes that load all units")
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


CODE = """
from replay.ground.cache import code_folder
from replay.ground.machine_code import compiled
from tests.support.doubling import twice
def tell():
    made = compiled(twice, code_folder("of this test"))
    print(made(21), sum(made.stats.cache_hits.values()), sum(made.stats.cache_misses.values()), flush=True)
"""
ONCE = f"{CODE}tell()\n"
# A process for each damage and one that comes after it, forked off one that has loaded numba and compiled nothing.
DAMAGED = f"""{CODE}
import os, sys
from pathlib import Path
file = Path(sys.argv[1])
content = file.read_bytes()
middle = len(content) // 2
flipped = content[:middle] + bytes([content[middle] ^ 1]) + content[middle + 1:]
for damage in (b"", content[:100], flipped, os.urandom(len(content))):
    file.write_bytes(damage)
    for _ in range(2):
        if not os.fork():
            tell()
            os._exit(0)
        os.wait()
file.unlink()
file.mkdir()
tell()
"""


@pytest.mark.slow("compiles what only it runs")
def test_machine_code_is_kept_and_whatever_is_damaged_is_compiled_anew(tmp_path: Path) -> None:
    """Catches code that is compiled in each run, a damaged cache that ends every command, and damage that is run."""
    there = {"XDG_CACHE_HOME": str(tmp_path)}
    assert run(ONCE, **there) == "42 0 1"
    assert run(ONCE, **there) == "42 1 0"
    (file,) = tmp_path.rglob("*.nbc")
    found = run(DAMAGED, str(file), **there).splitlines()
    assert found == [*("42 0 1", "42 1 0") * 4, "42 0 1"]  # mended each time by the process before


@pytest.mark.slow("compiles what only it runs")
@pytest.mark.parametrize("place", ["/proc", "/dev/null"])
def test_machine_code_needs_no_place_to_be_kept(place: str) -> None:
    """Catches a container whose user has no home, with a folder for what is temporary or without."""
    assert run(ONCE, XDG_CACHE_HOME=place, HOME=place) == "42 0 1"
    nowhere = "import tempfile\ndef none(*_, **__):\n    raise OSError('nowhere')\ntempfile.mkdtemp = none\n"
    assert run(nowhere + ONCE + UNUSUAL, XDG_CACHE_HOME=place, HOME=place) == "42 0 1\n98066.5"


@pytest.mark.parametrize("function", ["platform.machine", "platform.system", "platform.python_version"])
def test_what_is_kept_is_of_one_kind_of_machine(function: str, tmp_path: Path) -> None:
    """Catches a home that two machines share, of which one runs the machine code of the other."""
    told = "from replay.ground.cache import code_folder, machine_key\nprint(code_folder('x'), machine_key())\n"
    other = f"import platform\n{function} = lambda: 'other'\n"

    assert run(told, XDG_CACHE_HOME=str(tmp_path)) != run(other + told, XDG_CACHE_HOME=str(tmp_path))


def test_what_was_kept_comes_back_as_it_was_or_not_at_all(tmp_path: Path) -> None:
    """Catches a file cut short, changed or of somebody else that is taken for what was kept."""
    path = tmp_path / "folder" / "kept"

    assert read_kept(path) is None
    assert keep(path, b"something")
    assert read_kept(path) == b"something"
    content = path.read_bytes()
    for spoilt in (content[:-1], content[1:], b"", b"x" * 40, content.replace(b"some", b"Some")):
        path.write_bytes(spoilt)
        assert read_kept(path) is None
    assert not keep(Path("/dev/null/kept"), b"something")
    assert [item.name for item in path.parent.iterdir()] == ["kept"]
