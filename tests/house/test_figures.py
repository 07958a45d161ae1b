"""No document states a result that `python -m tests.figures` does not print, and what is stated is what is printed."""

import re
from pathlib import Path

import pytest

from tests import figures

ROOT = Path(__file__).parents[2]
GUIDES = {f"replay/guides/{path.name}" for path in (ROOT / "replay" / "guides").glob("*.md")}
DOCUMENTS = sorted(
    {
        "README.md",
        "DEVELOPERS.md",
        "protect/README.md",
        "firmware_ref/README.md",
        "fixtures/README.md",
        "tests/README.md",
    }
    | GUIDES - {"replay/guides/changes.md"}
)
# What a result looks like: so many of so many, a count of what was run, a share of what came out, a time that was taken.
RESULT = re.compile(
    r"\b\d[\d.,]* (?:(?:of|in) \d[\d.,]*|machine-(?:hours|years)|samples|traces|readings|MB|run hours|times the)\b"
    r"|\bmargin of hits \d|\bof them\s+within \d|\b(?:takes|took|in) \d[\d.,]* (?:ms|s)\b"
)
NUMBER = re.compile(r"[<+-]?\d[\d.,]*\d|\d")
# What looks so and is none: a rule, or a limit of the program.
NO_RESULT = (
    "nuisance trips per 1000 run hours",
    "2,000,000 readings",
    "1000 run hours",
    "nuisance trips in 1000 run hours",
)


def read(name: str) -> str:
    """Return a document."""
    return (ROOT / name).read_text(encoding="utf-8")


def any_number(stated: str) -> str:
    """Return a pattern for a sentence of STATED, whatever its figures are."""
    return r"[\d.]+".join(re.escape(part) for part in re.split(r"\{\w+\}", stated))


@pytest.mark.parametrize("name", DOCUMENTS)
def test_no_document_states_a_result_that_is_not_listed(name: str) -> None:
    """Catches a figure that somebody typed, which nothing prints anew and nobody finds when it is no longer so."""
    text = read(name)
    for stated in figures.STATED.get(name, ()):
        text = re.sub(any_number(stated), "", text)
    for known in NO_RESULT:
        text = text.replace(known, "")

    assert RESULT.findall(text) == []


@pytest.mark.slow("scores the demo library, and drives bearings through it")
def test_what_a_document_states_is_what_is_printed() -> None:
    """Catches a figure that is another by now, and a sentence that dropped out of its document."""
    found = figures.figures()

    for name, stated in figures.STATED.items():
        for sentence in stated:
            assert sentence.format(**found) in read(name), (name, sentence)


@pytest.mark.parametrize(("name", "begins", "ends", "run"), figures.RECORDED)
def test_what_a_document_states_of_a_long_run_stands_in_its_record(name: str, begins: str, ends: str, run: str) -> None:
    """Catches a figure of a run before the last, or one that the run never printed."""
    passage = read(name).partition(begins)[2].partition(ends)[0]
    (record,) = (one for one in figures.records() if f"-m {run}" in one.command)
    printed = set(NUMBER.findall(f"{record.command} {record.line}"))
    # A share of a hundred, and a level of confidence, are no figures of a run.
    stated = NUMBER.findall(re.sub(r"\b95 %|`[^`]*`", "", passage))

    assert len(stated) > 3
    assert [number for number in stated if number not in printed] == []


def test_the_newest_record_of_a_command_counts_and_says_what_it_ran_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches an old result that is told as that of what stands here, and one port's told as another's."""
    now, port = figures.RAN_ON
    rows = [
        ("2026-01-01", "`python -m tests.campaigns soak --years 10`", now, port, "old"),
        ("2026-01-02", "`python -m tests.campaigns soak --years 1`", "0" * 16, port, "new"),
        ("2026-01-02", "`python -m tests.campaigns differential --steps 1e7 --port wasm`", now, port, "wasm | 1"),
        ("2026-01-02", "`python -m tests.campaigns differential --steps 1e8`", now, "-", "c"),
    ]
    results = tmp_path / "RESULTS.md"
    results.write_text("| date |\n| --- |\n" + "".join(f"| {' | '.join(row)} |\n" for row in rows), encoding="utf-8")
    monkeypatch.setattr(figures, "RESULTS", results)

    found = figures.records()
    assert [(record.line.rstrip("| "), record.current) for record in found] == [
        ("new", False),
        ("wasm | 1", True),
        ("c", True),
    ]
