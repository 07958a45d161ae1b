"""A trace library as tests of pytest: `pytest --lubetrip-library LIBRARY`.

One test for each trace, which fails with the timeline where the logic does not do what the label says and a rule of the
acceptance is broken by such traces, and one for the acceptance of the settings as a whole. What the acceptance admits
passes, with the property `admitted`; with --lubetrip-strict it fails. Traces that nobody can call are skipped. Other
tests run only where their files are named too. Nothing is imported, and no test is added, unless a library is named.
"""

import functools
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

ENGINES = ("portable", "compiled", "c")  # those of replay.engine, which is not imported for nothing

if TYPE_CHECKING:
    from replay.library import Entry, Library
    from replay.score import Score
    from replay.settings import Settings

    Checked = tuple[dict[str, str], BaseException | None]


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the options of the plugin."""
    group = parser.getgroup("lubetrip", "replay of lubrication protection")
    group.addoption("--lubetrip-library", metavar="LIBRARY", help="Folder with library.toml: one test for each trace.")
    group.addoption("--lubetrip-settings", metavar="FILE", help="Settings file; without it, the library's own.")
    group.addoption("--lubetrip-engine", default="portable", choices=ENGINES, help="What replays; c is the C port.")
    group.addoption("--lubetrip-strict", action="store_true", help="Fail what is wrong and the acceptance admits, too.")


def pytest_configure(config: pytest.Config) -> None:
    """Leave the tests of the folder alone where a library is named and no test file is."""
    named = config.args_source is pytest.Config.ArgsSource.ARGS
    if config.getoption("--lubetrip-library") is not None and not named:
        config.args = []


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(session: pytest.Session, config: pytest.Config, items: list[pytest.Item]) -> None:
    """Add the tests of the library named on the command line."""
    folder = config.getoption("--lubetrip-library")
    if folder is not None:
        path = (config.invocation_params.dir / folder / "library.toml").resolve()
        items.extend(LibraryFile.from_parent(session, path=path, name=path.parent.name).collect())


class LibraryFile(pytest.File):
    """The library as pytest sees it."""

    def collect(self) -> Iterator["LibraryItem"]:
        """Return the tests. Raises UsageError for a library or settings file that cannot be read."""
        from replay.ground.refusal import Refusal
        from replay.score.once import counted_once

        try:
            library, settings = self._read()
        except Refusal as error:
            raise pytest.UsageError(f"lubetrip: {error}") from None
        engine = self.config.getoption("--lubetrip-engine")
        whole = functools.cache(functools.partial(scored, library, settings, engine))
        strict = self.config.getoption("--lubetrip-strict")
        for entry in counted_once(library).library.entries:
            check = functools.partial(check_trace, entry, settings, engine, None if strict else whole)
            yield LibraryItem.from_parent(self, name=entry.id, check=check)
        check = functools.partial(check_acceptance, whole)
        yield LibraryItem.from_parent(self, name="acceptance", check=check)

    def _read(self) -> tuple["Library", "Settings"]:
        from replay.ground.refusal import refusal
        from replay.library import read_library
        from replay.settings import read_settings

        library = read_library(self.path.parent)
        given = self.config.getoption("--lubetrip-settings")
        path = Path(self.config.invocation_params.dir / given) if given else library.settings
        if path is None:
            raise refusal(self.path.parent, "", "no settings", "--lubetrip-settings FILE, or settings = FILE in it")
        return library, read_settings(path)


class UnmetError(Exception):
    """What a test says that failed: text for people, no traceback."""


class LibraryItem(pytest.Item):
    """A test of the library; `check` returns what is said of it beside its outcome, and how it ended if not well."""

    def __init__(self, *, check: Callable[[], "Checked"], **others: Any) -> None:
        super().__init__(**others)
        self.check = check

    def runtest(self) -> None:
        """Check; what was found is kept of a test that fails, too."""
        properties, ended = self.check()
        self.user_properties.extend(properties.items())
        if ended is not None:
            raise ended

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """Show the text of a failed test, and a traceback only for what should not happen."""
        from replay.ground.refusal import Refusal

        if isinstance(excinfo.value, UnmetError | Refusal):
            return str(excinfo.value)
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, None, str]:
        """Return where the test comes from."""
        return self.path, None, f"lubetrip: {self.name}"


def scored(library: "Library", settings: "Settings", engine_name: str) -> "Score":
    """Return the score of the whole library."""
    from replay.engine import engine_named
    from replay.score import score

    return score(library, settings, engine=engine_named(engine_name))


def check_trace(
    entry: "Entry", settings: "Settings", engine_name: str, whole: "Callable[[], Score] | None" = None
) -> "Checked":
    """Hold one trace against its label; a failure shows the timeline.

    whole: returns the score of all, by whose acceptance a trace that is wrong may be admitted; none is without it.
    """
    from replay.engine import engine_named
    from replay.report.junit import ADMITTED, complaint, properties, timeline, unjudged
    from replay.score import judge
    from replay.score.verdict import WRONG
    from replay.trace import read_trace

    trace = read_trace(entry.path)
    engine = engine_named(engine_name)
    replay = engine.replay(trace, settings)
    verdict = judge(entry, trace, replay)
    ended: BaseException | None = None
    admitted: dict[str, str] = {}
    if verdict.outcome in WRONG and whole is not None and whole().admits(verdict.outcome):
        admitted = {"admitted": f"{complaint(entry, verdict)}; {ADMITTED}"}
    elif verdict.outcome in WRONG:
        ended = UnmetError(f"{complaint(entry, verdict)}\n{timeline(trace, replay, settings)}")
    elif why := unjudged(verdict):
        ended = pytest.skip.Exception(why)
    return properties(settings, engine, entry, verdict) | admitted, ended


def check_acceptance(whole: "Callable[[], Score]") -> "Checked":
    """Hold the whole library against [acceptance]; a failure shows the report."""
    from replay.display.score import score_view
    from replay.display.terminal import plain

    result = whole()
    told = None if result.met else UnmetError(f"acceptance {result.verdict}\n{plain(score_view(result))}")
    return {"settings_digest": result.settings.digest, "library_digest": result.library_digest}, told
