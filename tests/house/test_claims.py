"""Each claim of README.md, DEVELOPERS.md and the guides has something that shows it, which exists: claims.toml lists them."""

import re
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.campaigns.__main__ import command as campaigns
from tests.gates.__main__ import GATES

ROOT = Path(__file__).parents[2]
LISTED = tomllib.loads(Path(__file__).with_name("claims.toml").read_text(encoding="utf-8"))
CLAIMS, QUICK, LONG = LISTED["claim"], LISTED["quick"], LISTED["long"]
# Words with which a sentence promises what somebody has to have shown.
PROMISES = r"\b(proved|exact|exactly|attained|in every bit|byte for byte|(?:is|are) checked)\b"
# Sentences in which these words promise nothing.
NO_CLAIM = ("with the method beside each line", "on the counts themselves", "whose commands")


def prose(name: str) -> str:
    """Return a document without blocks of code, in single blanks."""
    text = (ROOT / name).read_text(encoding="utf-8")
    return " ".join(re.sub(r"```.*?```", "", text, flags=re.DOTALL).split())


# The page from the docstrings and the history of what changed promise nothing of their own.
GUIDES = {path.name for path in (ROOT / "replay" / "guides").glob("*.md")} - {"python.md", "changes.md"}
DOCUMENTS = {
    name: prose(name) for name in ("README.md", "DEVELOPERS.md", *(f"replay/guides/{n}" for n in sorted(GUIDES)))
}


@pytest.mark.parametrize("claim", CLAIMS, ids=[claim["says"][:60] for claim in CLAIMS])
def test_what_shows_a_claim_exists(claim: dict[str, object]) -> None:
    """Catches a claim that no document makes any longer, and a test or a command that was renamed away from under it."""
    assert any(str(claim["says"]) in text for text in DOCUMENTS.values())
    assert claim["shown_by"]
    for shown_by in claim["shown_by"]:  # type: ignore[attr-defined]
        if found := re.fullmatch(r"python -m tests\.(gates|campaigns) ([\w-]+)", shown_by):
            assert found[2] in (GATES if found[1] == "gates" else campaigns.commands)
            continue
        file, _, name = shown_by.partition("::")
        text = (ROOT / "tests" / file).read_text(encoding="utf-8")
        assert not name or f"\ndef {name}(" in text, shown_by


def test_every_command_that_shows_a_claim_is_run_or_says_why_not() -> None:
    """Catches a claim that hangs on a command alone which no test ever starts."""
    named = {shown_by for claim in CLAIMS for shown_by in claim["shown_by"] if shown_by.startswith("python ")}

    assert named == QUICK.keys() | LONG.keys()
    assert not QUICK.keys() & LONG.keys()
    for why in LONG.values():
        assert all((ROOT / "tests" / file).is_file() for file in re.findall(r"[a-z]+/test_\w+\.py", why))


@pytest.mark.slow("runs campaigns, if short ones, with machine code")
@pytest.mark.parametrize("command", QUICK)
def test_a_command_that_shows_a_claim_shows_it(command: str) -> None:
    """Catches a command that no longer starts, that finds something, or whose options are others by now."""
    done = CliRunner().invoke(campaigns, [*command.split()[3:], *QUICK[command]])

    assert done.exit_code == 0, done.output
    assert "; logic " in done.output.splitlines()[-1]


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_sentence_that_promises_something_is_listed(name: str) -> None:
    """Catches a promise that somebody wrote down and nobody can be asked for."""
    text = DOCUMENTS[name]
    for claim in CLAIMS:
        text = text.replace(claim["says"], "")
    left = [text[max(0, m.start() - 60) : m.end() + 60] for m in re.finditer(PROMISES, text, re.IGNORECASE)]

    assert [part for part in left if not any(known in part for known in NO_CLAIM)] == []
