"""The page of outside checks: made from the marks, every mark whole, nothing else counted."""

from pathlib import Path

import pytest

from tests import outside

WHOLE = {"computation": "'sums'", "source": "'a book'", "status": "'quoted'", "agreement": "'1e-9'"}


def written(folder: Path, said: dict[str, str], bare: str = "", on: str = "@") -> Path:
    """Write a file of one test with a mark."""
    path = folder / "test_it.py"
    keys = ", ".join([bare] * bool(bare) + [f"{key}={value}" for key, value in said.items()])
    path.write_text(f"{on}pytest.mark.{'outside'}({keys})\ndef test_sums():\n    assert True\n")
    return path


def test_the_page_is_that_of_the_marks() -> None:
    """Catches a check that was added, changed or dropped and a page that still says otherwise: `python -m tests.outside`."""
    assert outside.PAGE.read_text(encoding="utf-8") == outside.page()


def test_a_whole_mark_is_read(tmp_path: Path) -> None:
    """Catches a mark that is lost on the way to the page."""
    (check,) = outside.checks_in(written(tmp_path, WHOLE))

    assert (check.computation, check.source, check.status, check.agreement) == ("sums", "a book", "quoted", "1e-9")
    assert check.test == "test_sums"


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ({key: value for key, value in WHOLE.items() if key != "agreement"}, "a mark says agreement, computation"),
        ({key: value for key, value in WHOLE.items() if key != "source"}, "a mark says"),
        (WHOLE | {"computation": "''"}, "a mark says"),
        (WHOLE | {"url": "'x'"}, "a mark says"),
        (WHOLE | {"status": "'seen'"}, "'seen' is none of consulted, quoted"),
    ],
)
def test_a_mark_that_does_not_say_all_is_an_error(said: dict[str, str], why: str, tmp_path: Path) -> None:
    """Catches an agreement without a source, and a status in other words that hides a source nobody read."""
    with pytest.raises(ValueError, match=f"line 1: {why}"):
        outside.checks_in(written(tmp_path, said))


def test_a_mark_without_names_is_an_error(tmp_path: Path) -> None:
    """Catches the places exchanged."""
    with pytest.raises(ValueError, match="by name"):
        outside.checks_in(written(tmp_path, WHOLE, bare="'sums'"))


def test_a_mark_on_no_test_is_an_error(tmp_path: Path) -> None:
    """Catches a check of a whole file, which says of no test that it holds it."""
    with pytest.raises(ValueError, match="elsewhere than on a test"):
        outside.checks_in(written(tmp_path, WHOLE, on="pytestmark = "))
