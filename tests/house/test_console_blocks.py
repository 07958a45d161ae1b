"""Every command that a document shows is run, and prints what stands below it."""

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.command import lubetrip

pytestmark = pytest.mark.slow("runs every command of the documents")

ROOT = Path(__file__).parents[2]
DOCUMENTS = [ROOT / "README.md", *sorted((ROOT / "replay" / "guides").glob("*.md"))]
JUDGED = (0, 1, 3)  # a verdict is no failure
# Machines that are starved from the tenth minute on, as a logger writes them; a draft asks for these two.
ANSWERS = {'zone = "?"': 'zone = "Europe/Oslo"', 'altitude = "?"': 'altitude = "40 m"'}
PORT = f"#!/bin/sh\nexec '{sys.executable}' -m firmware_ref.python_port\n"


def shown(document: Path) -> list[tuple[str, list[str]]]:
    """Return the commands of a document with the lines that it shows of their output."""
    found: list[tuple[str, list[str]]] = []
    for block in re.findall(r"```console\n(.*?)```", document.read_text(encoding="utf-8"), re.DOTALL):
        for line in block.splitlines():
            if line.startswith("$ "):
                found.append((line[2:], []))
            else:
                found[-1][1].append(line)
    return found


def log() -> str:
    """Return a logger's file of half an hour, with a spell in a vacuum and a reload at its end."""
    lines = ["time;oil bar(g);suction bar(g);running"]
    for second in range(0, 1800, 2):
        dry = 600 <= second <= 860
        net, suction = (0.2, -0.3) if dry else (1.6, 1.4)
        oil = suction + net + 0.003 * (second // 2 % 7)
        clock = f"2026-03-01 10:{second // 60:02d}:{second % 60:02d}"
        lines.append(f"{clock};{oil:.3f};{suction + 0.002 * (second // 2 % 5):.3f};1")
    return "\n".join(lines) + "\n"


def few_of(site: Path) -> Path:
    """Return a library of every eighth trace of the demo's, for a command of which no figure is shown."""
    few = site.with_name("few")
    if few.exists():
        return few
    shutil.copytree(site, few)
    head, *traces = (few / "library.toml").read_text(encoding="utf-8").split("[[trace]]\n")
    assert len(traces) > 100
    (few / "library.toml").write_text("[[trace]]\n".join([head, *traces[::8]]), encoding="utf-8")
    return few


@pytest.mark.parametrize("document", [path for path in DOCUMENTS if shown(path)], ids=lambda path: path.name)
def test_every_command_of_a_document_runs(document: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a command, an option or a figure in a document that is no longer so."""
    monkeypatch.chdir(tmp_path)
    if document.name != "README.md":  # which writes it itself
        lubetrip("demo", "site")
    Path("my.toml").write_bytes((ROOT / "fixtures" / "settings.toml").read_bytes())
    Path("LOG.csv").write_text(log(), encoding="utf-8")
    Path("my_port").write_text(PORT, encoding="utf-8")
    Path("my_port").chmod(0o755)
    for command, lines in shown(document):
        program, *arguments = shlex.split(command)
        if not lines and "site" in arguments:
            arguments = [few_of(tmp_path / "site").name if one == "site" else one for one in arguments]
        if program == "pytest":
            done = subprocess.run(
                [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *arguments],
                capture_output=True,
                text=True,
                check=False,
            )
        else:
            done = lubetrip(*arguments, COLUMNS="80")
        allowed = JUDGED if arguments[0] in ("score", "--lubetrip-library", "tolerances", "tune") else (0,)
        assert done.returncode in allowed, (command, done.stdout[-2000:], done.stderr)
        told = [" ".join(line.split()) for line in done.stdout.splitlines()]
        for line in lines:
            assert any(" ".join(line.split()) in there for there in told), (command, line, done.stdout)
        for draft in tmp_path.glob("p.toml"):
            text = draft.read_text(encoding="utf-8")
            for question, answer in ANSWERS.items():
                text = text.replace(question, answer)
            draft.write_text(text, encoding="utf-8")
