"""The archive for a firmware team: whole, stamped, the same every time, and enough to build and prove a port from."""

import hashlib
import json
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from firmware_ref.digest import logic_digest
from firmware_ref.release import licence, version
from replay.port import sources
from replay.port.sources import write_sources
from replay.settings import read_settings
from tests.conftest import SETTINGS
from tests.support.command import lubetrip
from tests.support.toolchain import first_difference, need, vector_set

UNSTAMPED = {"LICENSE", "MANIFEST.json", "settings.json", "vectors/vectors.bin", "vectors/vectors.txt"}
FOLDERS = {"", "c", "example", "host", "micropython", "protect", "st", "vectors"}


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of an archive that was written and unpacked; no test writes into it."""
    folder = tmp_path_factory.mktemp("sources")
    (folder / "settings.toml").write_text(SETTINGS)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sources, "build", vector_set)
        write_sources(folder / "sources.zip", read_settings(folder / "settings.toml"))
    zipfile.ZipFile(folder / "sources.zip").extractall(folder)
    return folder / f"lubetrip-{version()}"


def test_every_file_says_what_it_is_and_under_which_licence(unpacked: Path) -> None:
    """Catches a file that is copied on alone and says neither logic, version nor licence."""
    manifest = json.loads((unpacked / "MANIFEST.json").read_text())
    names = {str(path.relative_to(unpacked)) for path in unpacked.rglob("*") if path.is_file()}

    assert names == {*manifest["files"], "MANIFEST.json"} and names >= UNSTAMPED
    for name in names - UNSTAMPED:
        first, text = (unpacked / name).read_text().split("\n", 1)
        assert f"SPDX-License-Identifier: {licence()}; lubetrip {version()}, logic {logic_digest()}" in first, name
        assert text.strip()
    assert "MIT License" in (unpacked / "LICENSE").read_text()


def test_the_manifest_holds_the_digests(unpacked: Path, settings_file: Path) -> None:
    """Catches a manifest of something else than what is in the archive."""
    manifest = json.loads((unpacked / "MANIFEST.json").read_text())
    for name, digest in manifest["files"].items():
        assert hashlib.sha256((unpacked / name).read_bytes()).hexdigest() == digest
    digests = {"logic": logic_digest(), "vectors": vector_set().digest, "settings": read_settings(settings_file).digest}
    assert {name: manifest[name] for name in digests} == digests


def test_nothing_is_in_it_that_no_target_takes(unpacked: Path) -> None:
    """Catches the host side, proofs, or packages of node on their way to a firmware team, and links that lead out of it."""
    folders = {
        str(path.parent.relative_to(unpacked)).removeprefix(".") for path in unpacked.rglob("*") if path.is_file()
    }
    assert folders == FOLDERS
    for link in re.findall(r"\]\(([^)#:]+)\)", (unpacked / "README.md").read_text()):
        assert (unpacked / link).exists(), link
    for path in (unpacked / "protect").glob("*.py"):
        assert not re.search(r"^(from|import) (?!protect)", path.read_text(), re.MULTILINE)


def test_the_same_logic_gives_the_same_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a time or an order of the file system in the archive."""
    monkeypatch.setattr(sources, "build", vector_set)
    for name in ("one.zip", "two.zip"):
        write_sources(tmp_path / name)
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()


@pytest.mark.slow("runs a compiler")
def test_it_builds_and_its_port_answers_its_vectors(unpacked: Path, tmp_path: Path) -> None:
    """Catches a file that is missing, and a CMakeLists.txt that builds only in the repository."""
    for command in (
        [need("cmake"), "-S", unpacked, "-B", tmp_path / "build", "-DLUBETRIP_HOST=ON"],
        [need("cmake"), "--build", tmp_path / "build"],
    ):
        done = subprocess.run(list(map(str, command)), capture_output=True, text=True, check=False, timeout=120)
        assert done.returncode == 0, done.stdout + done.stderr
    assert first_difference(tmp_path / "build" / "lubetrip_host_port", vector_set()) is None
    assert (
        "lubricated"
        in subprocess.run([tmp_path / "build" / "lubetrip_story"], capture_output=True, text=True, check=True).stdout
    )
    step = "import protect.protection, sensors, ticks, board_settings, logic; logic.refuse_others(board_settings.LAYOUT, board_settings.LOGIC)"
    places = f"{unpacked}:{unpacked / 'micropython'}"
    subprocess.run([sys.executable, "-S", "-c", step], env={"PYTHONPATH": places}, cwd=tmp_path, check=True)


@pytest.mark.slow("makes the vectors")
def test_the_command_writes_the_archive_and_tells_what_is_in_it(settings_file: Path, tmp_path: Path) -> None:
    """Catches a command that says something else than it wrote."""
    done = lubetrip("export-sources", tmp_path / "out.zip", "--settings", settings_file)

    assert done.returncode == 0
    assert f"{len(zipfile.ZipFile(tmp_path / 'out.zip').namelist())} files, version {version()}" in done.stdout
    assert f"logic {logic_digest()[:16]}, vectors {vector_set().digest[:16]}" in done.stdout
    assert read_settings(settings_file).digest[:16] in done.stdout


def test_a_place_that_cannot_be_written_is_refused_before_any_work(tmp_path: Path) -> None:
    """Catches ten seconds of work for nothing, and a traceback."""
    done = lubetrip("export-sources", tmp_path / "no" / "out.zip")

    assert (done.returncode, list(tmp_path.iterdir())) == (2, [])
    assert "cannot be written" in done.stderr
