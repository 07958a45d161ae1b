"""The campaign of faults: a short run finds nothing, and each kind of fault finds what it is there to find."""

import random
from pathlib import Path

import pytest

from tests.campaigns import faults
from tests.campaigns.faults import COMMANDS, KINDS, Bench, lay

pytestmark = pytest.mark.slow("starts commands as processes of their own")
QUICK = {name: COMMANDS[name] for name in ("label", "import")}


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    """Return a bench for the quickest edits of a library."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(faults, "COMMANDS", QUICK)
        return Bench(tmp_path_factory.mktemp("bench"))


def test_a_short_run_finds_nothing(monkeypatch: pytest.MonkeyPatch, bench: Bench) -> None:
    """Catches an edit that a kill, a full disk, another edit or a damaged cache leaves half done."""
    monkeypatch.setattr(faults, "COMMANDS", QUICK)
    monkeypatch.setattr(faults, "Bench", lambda _: bench)
    counts, findings = lay(minutes=10, seed=3, most=len(KINDS))

    assert findings == []
    assert counts == dict.fromkeys(KINDS, 1)


DEFECTS = {
    "killed": (
        "label",
        "import os, signal\nfrom pathlib import Path\n"
        "def half(path, text):\n    path.write_text(text[:80])\n    os.kill(os.getpid(), signal.SIGKILL)\n"
        "import replay.library.labels as labels\n"
        "labels.write_whole = lambda path, fill: half(path, path.read_text())\n",
    ),
    "full disk": (
        "import",
        "import replay.measured.into_library as into\ninto.write_text = lambda path, text: 1 / 0\n",
    ),
    "two at once": (
        "label",
        "import contextlib\nimport replay.library.labels as labels\n"
        "labels.locked = contextlib.nullcontext\nimport time\nwrite = labels.write_whole\n"
        "def slow(*given):\n    time.sleep(2)\n    write(*given)\nlabels.write_whole = slow\n",
    ),
}


@pytest.mark.parametrize("kind", DEFECTS)
def test_a_planted_defect_is_found(kind: str, bench: Bench, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Catches a campaign that finds nothing whatever there is: half a file, a crash without room, an edit without lock."""
    name, defect = DEFECTS[kind]
    (tmp_path / "planted.py").write_text(defect)
    program = f"import sys; sys.path.insert(0, {str(tmp_path)!r}); import planted; from replay.cli import main; main()"
    monkeypatch.setattr(faults, "PROGRAM", program)
    monkeypatch.setattr(faults, "COMMANDS", QUICK)

    assert any([*KINDS[kind](bench, name, random.Random(seed))] for seed in range(3))  # noqa: S311
