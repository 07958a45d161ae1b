"""The C port as WebAssembly: made from the sources that ship, importing nothing, and the same logic in every word."""

import json
import shutil
import subprocess
from pathlib import Path

import pytest

from replay.ground.refusal import Refusal
from replay.page import build_wasm as builder
from replay.page import wasm_module
from tests.support.toolchain import C_FOLDER, C_SOURCE, ROOT, first_difference, need, vector_set

pytestmark = pytest.mark.slow("runs a compiler, an emulator, another Python or a browser for each case")

FOLDER = ROOT / "firmware_ref" / "wasm"


def port_for(module: Path, folder: Path) -> Path:
    """Return a program that speaks the line protocol for a module."""
    port = folder / "port"
    port.write_text(f'#!/bin/sh\nexec "{need("node")}" "{FOLDER / "line_port.mjs"}" "{module}"\n', encoding="utf-8")
    port.chmod(0o755)
    return port


def built(folder: Path, sources: Path | None = None) -> Path:
    """Build a module here and return it."""
    need("clang")
    need("wasm-ld")
    module = folder / "built.wasm"
    builder.build(module, sources)
    return module


@pytest.mark.outside(
    computation="WebAssembly module",
    source="node's engine",
    status="consulted",
    agreement="every word of the vectors",
)
def test_decides_as_the_reference_in_every_word(tmp_path: Path) -> None:
    """Catches a compiler flag, an integer width or a page layout that changes one word of a step, a check or a tick."""
    assert first_difference(port_for(FOLDER / "lubetrip.wasm", tmp_path), vector_set()) is None


def test_is_what_the_sources_build(tmp_path: Path) -> None:
    """Catches a module that stayed behind its C sources; by another compiler the bytes may differ, and no word may."""
    module = built(tmp_path)

    assert wasm_module.module() == (FOLDER / "lubetrip.wasm").read_bytes()
    if builder.compiler() == json.loads((FOLDER / "built.json").read_text())["compiler"]:
        assert module.read_bytes() == wasm_module.module()
    else:
        assert first_difference(port_for(module, tmp_path), vector_set()) is None


def test_a_changed_limit_in_the_c_port_changes_the_module(tmp_path: Path) -> None:
    """Catches a build that takes the port from elsewhere, and a comparison under node that always agrees."""
    sources = tmp_path / "c"
    shutil.copytree(C_FOLDER, sources)
    good = "if (net < settings[LT_SET_FLOOR]) {"
    assert C_SOURCE.read_text().count(good) == 1
    (sources / "lubetrip.c").write_text(C_SOURCE.read_text().replace(good, good.replace("<", "<=")))
    module = built(tmp_path, sources)

    assert first_difference(port_for(module, tmp_path), vector_set()) is not None


def test_imports_nothing_and_is_small() -> None:
    """Catches a module that calls memset, a clock or anything else of the page, or that drags a library along."""
    said = subprocess.run(
        [
            need("node"),
            "-e",
            "WebAssembly.compile(require('fs').readFileSync(process.argv[1]))"
            ".then((m) => console.log(WebAssembly.Module.imports(m).length))",
            FOLDER / "lubetrip.wasm",
        ],
        capture_output=True,
        text=True,
        check=True,
    )

    assert said.stdout.strip() == "0"
    assert (FOLDER / "lubetrip.wasm").stat().st_size < 16 * 1024


@pytest.mark.parametrize(
    ("name", "more", "rule"),
    [("page_port.c", b"int more;\n", "not made from the C sources"), ("lubetrip.wasm", b"\n", "not the module")],
)
def test_a_module_that_does_not_fit_its_sources_is_refused(
    name: str, more: bytes, rule: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a page that shows the port of last month under the sources of today."""
    folder = tmp_path / "wasm"
    shutil.copytree(FOLDER, folder)
    (folder / name).write_bytes((folder / name).read_bytes() + more)
    monkeypatch.setattr(wasm_module, "folder", lambda: folder)

    with pytest.raises(Refusal, match=rule):
        wasm_module.module()


def test_a_comment_in_the_c_port_makes_no_module_stale(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a digest for which every comment asks for a new module, until nobody looks why any more."""
    folder = tmp_path / "wasm"
    shutil.copytree(FOLDER, folder)
    with (folder / "page_port.c").open("a") as source:
        source.write("\n/* said\n   more */\n")
    monkeypatch.setattr(wasm_module, "folder", lambda: folder)

    assert wasm_module.module() == (FOLDER / "lubetrip.wasm").read_bytes()


def test_check_tells_a_module_that_is_not_current(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Catches a --check that always says yes, and one that mends what it should only judge."""
    need("clang")
    need("wasm-ld")
    folder = tmp_path / "wasm"
    shutil.copytree(FOLDER, folder)
    monkeypatch.setattr(wasm_module, "folder", lambda: folder)
    stale = (folder / "lubetrip.wasm").read_bytes()[:-1]
    (folder / "lubetrip.wasm").write_bytes(stale)

    assert builder.main(["--check"]) == 1
    assert (folder / "lubetrip.wasm").read_bytes() == stale
    assert builder.main([]) == 0
    assert builder.main(["--check"]) == 0
    assert "current" in capsys.readouterr().out
