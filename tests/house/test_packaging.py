"""The packages that are built hold everything that runs: the demo, the C port, the pages, the types."""

import os
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

from replay.ground.extras import install
from tests.support.command import lubetrip

pytestmark = pytest.mark.slow("runs a compiler, an emulator, another Python or a browser for each case")

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT)}
BUILD = """
import sys, tarfile
from hatchling import build as build_meta
folder = sys.argv[1]
archive = build_meta.build_sdist(folder)
with tarfile.open(f"{folder}/{archive}") as packed:
    packed.extraction_filter = getattr(tarfile, "data_filter", None)  # not in every Python 3.11
    packed.extractall(folder)
"""
WHEEL = "import sys; from hatchling import build as build_meta; print(build_meta.build_wheel(sys.argv[1]))"


def listed(*folders: str) -> list[str]:
    """Return the files of a checkout that belong to the project."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard", *folders]
    names = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout.split("\n")
    return [name for name in names if name and (ROOT / name).exists()]


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build an sdist of what git knows, a wheel from that sdist, and unpack the wheel."""
    folder = tmp_path_factory.mktemp("packages")
    source = folder / "checkout"
    for name in listed():
        (source / name).parent.mkdir(parents=True, exist_ok=True)
        (source / name).write_bytes((ROOT / name).read_bytes())
    subprocess.run([sys.executable, "-c", BUILD, folder], cwd=source, capture_output=True, check=True)
    unpacked = folder / f"lubetrip-{PROJECT['project']['version']}"
    left = unpacked / "build" / "lib" / "replay" / "of_an_earlier_build.py"
    left.parent.mkdir(parents=True)
    left.touch()
    subprocess.run([sys.executable, "-c", WHEEL, folder], cwd=unpacked, capture_output=True, check=True)
    (wheel,) = folder.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder / "site")
    return folder / "site"


def test_every_file_that_runs_comes_with_the_wheel(installed: Path) -> None:
    """Catches a package or a data file that works in a checkout and is missing once installed.

    Also what an earlier build left in build/.
    """
    wanted = set(listed("protect", "replay", "firmware_ref"))
    wanted |= {name.replace("fixtures/", "replay/demo/") for name in listed("fixtures")}

    assert wanted == {str(path.relative_to(installed)) for path in installed.rglob("*") if path.is_file()} - {
        str(path.relative_to(installed)) for path in installed.glob("*.dist-info/**/*")
    }


def test_the_sdist_holds_what_its_tests_need(installed: Path) -> None:
    """Catches an sdist whose tests miss a file, and one with what a build or an editor left beside them."""
    unpacked = installed.parent / f"lubetrip-{PROJECT['project']['version']}"
    found = {path.relative_to(unpacked).as_posix() for path in unpacked.rglob("*") if path.is_file()}
    made = {"PKG-INFO"}

    assert {name for name in found - made if not name.startswith("build/")} == set(listed())


def test_the_command_is_a_module_too(tmp_path: Path) -> None:
    """Catches a machine on which scripts are not found and that has no other way to the command."""
    command = [sys.executable, "-m", "replay", "--version"]
    done = subprocess.run(command, cwd=tmp_path, env=ENVIRONMENT, capture_output=True, text=True, check=True)

    assert done.stdout.startswith(f"lubetrip, version {PROJECT['project']['version']}, logic ")


@pytest.mark.parametrize("package", ["protect", "firmware_ref"])
def test_a_package_of_somebody_else_under_our_name_is_told(package: str, tmp_path: Path) -> None:
    """Catches a verdict by another distribution's `protect`, and a traceback for its `firmware_ref`."""
    (tmp_path / package).mkdir()
    (tmp_path / package / "__init__.py").touch()

    assert (
        told_at_start(tmp_path, tmp_path, ROOT)
        == f"lubetrip: '{package}' is not that of lubetrip but {tmp_path / package}"
    )


@pytest.mark.parametrize("package", ["replay", "protect", "firmware_ref"])
def test_a_package_of_somebody_else_that_was_laid_over_ours_is_told(package: str, tmp_path: Path) -> None:
    """Catches a command that goes on with what pip left of ours, when another distribution wrote into the same folder."""
    for ours in ("replay", "protect", "firmware_ref"):
        shutil.copytree(ROOT / ours, tmp_path / ours, ignore=shutil.ignore_patterns("node_modules", "*.npz", "*.json"))
    (tmp_path / package / "__init__.py").write_text('"""Somebody else\'s."""\n')

    assert (
        told_at_start(tmp_path, tmp_path) == f"lubetrip: '{package}' is not that of lubetrip but {tmp_path / package}"
    )


def told_at_start(folder: Path, *places: Path) -> str:
    """Start the command with these places in front; return what it says instead, up to the folder of the package."""
    environment = {**ENVIRONMENT, "PYTHONPATH": os.pathsep.join(map(str, places))}
    command = [sys.executable, "-P", "-c", "from replay.cli import main; main()", "--version"]
    done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)

    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1
    return done.stderr.partition(f"{os.sep}__init__.py")[0]


def test_what_installs_an_extra_names_its_packages() -> None:
    """Catches advice that works only where this program is found in an index, and one for an extra that is gone."""
    extras = PROJECT["project"]["optional-dependencies"]
    advised = set()
    for path in (ROOT / "replay").rglob("*.py"):
        advised |= set(re.findall(r"""\binstall\(["'](\w+)["']\)""", path.read_text(encoding="utf-8")))
        assert "lubetrip[" not in path.read_text(encoding="utf-8"), path

    assert advised == extras.keys() - {"test", "physics"}
    for extra in advised:
        command = install(extra).removeprefix("python -m pip install ")
        assert sorted(command.lower().split()) == sorted(f"'{package}'".lower() for package in extras[extra])


def test_the_installed_demo_is_written_and_scored(installed: Path, tmp_path: Path) -> None:
    """Catches a wheel whose demo library is not found, or whose parts are found in the checkout only."""
    environment = {**os.environ, "PYTHONPATH": str(installed)}
    where = [sys.executable, "-P", "-c", "import replay; print(replay.__file__)"]
    assert subprocess.run(where, env=environment, cwd=tmp_path, capture_output=True, text=True, check=True).stdout == (
        f"{installed / 'replay' / '__init__.py'}\n"
    )
    for arguments, told in (
        (["demo", "site"], "demo library"),
        (["score", "site"], "Acceptance: met"),
        (["export-sources", "sources.zip", "--settings", "site/settings.toml"], "files, version"),
    ):
        command = [sys.executable, "-P", "-c", "from replay.cli import main; main()", *arguments]
        done = subprocess.run(command, env=environment, cwd=tmp_path, capture_output=True, text=True, check=False)
        assert (done.returncode, done.stderr) == (0, "")
        assert told in done.stdout


def test_the_demo_library_is_that_of_the_checkout(tmp_path: Path) -> None:
    """Catches a demo with other traces or settings than the ones the documents speak of."""
    lubetrip("demo", tmp_path / "demo")

    files = {path.relative_to(tmp_path / "demo"): path.read_bytes() for path in (tmp_path / "demo").rglob("*.*")}
    demo = [name for name in listed("fixtures") if name != "fixtures/README.md"]
    assert files == {Path(name).relative_to("fixtures"): (ROOT / name).read_bytes() for name in demo}


def test_a_demo_is_never_written_over_something_else(tmp_path: Path) -> None:
    """Catches a demo that buries a folder of the user's."""
    (tmp_path / "mine.txt").write_text("mine")

    done = lubetrip("demo", tmp_path)

    assert done.returncode == 2
    assert "not an empty folder" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_the_version_stands_in_one_place() -> None:
    """Catches a version that is raised in one file and forgotten in another; what is generated is held current elsewhere."""
    version = re.escape(PROJECT["project"]["version"])
    holding = [
        name
        for name in listed("protect", "replay", "firmware_ref", "README.md", "DEVELOPERS.md", "pyproject.toml")
        if not name.endswith((".wasm", "package-lock.json"))
        and re.search(rf"\b{version}\b", (ROOT / name).read_text("utf-8"))
    ]

    assert holding == ["firmware_ref/c/lubetrip_logic.h", "firmware_ref/st/lubetrip.st", "pyproject.toml"]
    assert lubetrip("--version").stdout.startswith(f"lubetrip, version {PROJECT['project']['version']}, ")


def test_types_are_offered_to_those_who_build_on_it() -> None:
    """Catches annotations that a user's type checker does not look at."""
    for package in ("protect", "replay", "firmware_ref"):
        assert (ROOT / package / "py.typed").is_file()
