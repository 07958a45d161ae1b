"""A trace library as tests of pytest: `pytest --lubetrip-library LIBRARY`.

One test for each trace, which fails with the timeline where the logic does not do
what the label says, and one for the acceptance of the settings as a whole. Traces
that nobody can call are skipped. Other tests run only where their files are named
too. Nothing is imported, and no test is added, unless a library is named.
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

ENGINES = ("portable", "compiled", "c")  # those of replay.engine, which is not imported for nothing

if TYPE_CHECKING:
    from replay.library import Entry, Library
    from replay.settings import Settings


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the options of the plugin."""
    group = parser.getgroup("lubetrip", "replay of lubrication protection")
    group.addoption("--lubetrip-library", metavar="LIBRARY", help="Folder with library.toml: one test for each trace.")
    group.addoption("--lubetrip-settings", metavar="FILE", help="Settings file; without it, the library's own.")
    group.addoption("--lubetrip-engine", default="portable", choices=ENGINES, help="What replays; c is the C port.")


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
        library, settings = refusing(self._read)
        engine = self.config.getoption("--lubetrip-engine")
        for entry in library.entries:
            yield TraceItem.from_parent(self, name=entry.id, entry=entry, settings=settings, engine=engine)
        yield AcceptanceItem.from_parent(self, name="acceptance", library=library, settings=settings, engine=engine)

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


def refusing(read: Callable[[], Any]) -> Any:
    """Turn a Refusal into an error of usage, which pytest shows in one line."""
    from replay.ground.refusal import Refusal

    try:
        return read()
    except Refusal as error:
        raise pytest.UsageError(f"lubetrip: {error}") from None


class UnmetError(Exception):
    """What a test says that failed: text for people, no traceback."""


class LibraryItem(pytest.Item):
    """A test of the library; `settings` are those under test, `engine` is the name of what replays."""

    def __init__(self, *, settings: "Settings", engine: str, **others: Any) -> None:
        super().__init__(**others)
        self.settings = settings
        self.engine = engine

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """Show the text of a failed test, and a traceback only for what should not happen."""
        from replay.ground.refusal import Refusal

        if isinstance(excinfo.value, UnmetError | Refusal):
            return str(excinfo.value)
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, None, str]:
        """Return where the test comes from."""
        return self.path, None, f"lubetrip: {self.name}"


class TraceItem(LibraryItem):
    """One trace against its label."""

    def __init__(self, *, entry: "Entry", **others: Any) -> None:
        super().__init__(**others)
        self.entry = entry

    def runtest(self) -> None:
        """Replay the trace; fail with the timeline."""
        from replay.engine import engine_named
        from replay.report.junit import complaint, properties, timeline
        from replay.score import judge
        from replay.score.scoring import WRONG
        from replay.trace import read_trace

        trace = read_trace(self.entry.path)
        engine = engine_named(self.engine)
        replay = engine.replay(trace, self.settings)
        verdict = judge(self.entry, trace, replay)
        self.user_properties.extend(properties(self.settings, engine, self.entry, verdict).items())
        if verdict.outcome == "undecided":
            pytest.skip("undecided: judged neither way")
        if verdict.outcome in WRONG:
            raise UnmetError(f"{complaint(self.entry, verdict)}\n{timeline(trace, replay)}")


class AcceptanceItem(LibraryItem):
    """The whole library against [acceptance]."""

    def __init__(self, *, library: "Library", **others: Any) -> None:
        super().__init__(**others)
        self.library = library

    def runtest(self) -> None:
        """Score the library; fail with the report."""
        from replay.display.score import score_view
        from replay.display.terminal import plain
        from replay.engine import engine_named
        from replay.score import score

        result = score(self.library, self.settings, engine=engine_named(self.engine))
        digests = {"settings_digest": self.settings.digest, "library_digest": result.library_digest}
        self.user_properties.extend(digests.items())
        if not result.met:
            raise UnmetError(f"acceptance {result.verdict}\n{plain(score_view(result))}")
