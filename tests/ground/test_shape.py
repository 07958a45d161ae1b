"""A file with a key too many, too few or of another kind is refused in one line that names the key, whatever file it is."""

import contextlib
import copy
import json
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from replay.ground.refusal import Refusal
from replay.ground.shape import Key, Keys, UnfitError, fit, list_of, name, number, one_of, or_none, text, whole
from replay.library import read_library
from replay.measured.profile import read_profile
from replay.report.record import _read_about
from replay.report.tuning_view import read_tuning
from replay.score.comparison import read_report
from replay.settings import read_settings
from replay.synth.libraries import _made
from replay.tuning.fresh import recipe_of
from replay.tuning.tolerance import read_tolerances
from tests.conftest import SETTINGS, entry
from tests.support.hostile import MADE, STATED, TOLERANCES, tuning_report

Path_ = tuple[str | int, ...]


@dataclass(frozen=True)
class File:
    """A well-formed file and what reads it; free: keys that may be left out; loose: what a command wrote."""

    name: str
    content: dict[str, Any]
    read: Callable[[Path], object]
    free: frozenset[str] = frozenset()
    loose: bool = False


def _folder(read: Callable[[Path], object]) -> Callable[[Path], object]:
    return lambda path: read(path.parent)


ROW = {"id": "a", "family": "f", "outcome": "hit", "first_trip_s": 1.0, "deadline_s": 9, "margin_s": 8.5, "trips": 1}
SCORE = {
    "schema": "lubetrip-score/1",
    "traces": [ROW, ROW | {"id": "b", "outcome": "rode_through", "first_trip_s": None, "margin_s": None}],
    "undecided": [ROW | {"id": "c"}],
    "acceptance": {"verdict": "met", "limits": {"confidence": None}},
    "library": {"digest": "d"},
    "totals": {"nuisance_trips": 0},
}
RECORD = {
    "schema": "lubetrip-record/1",
    "verdict": "met",
    "library": {"folder": "..", "digest": "d"},
    "settings_digest": "d",
    "logic": {"digest": "d", "engine": "portable"},
    "versions": {},
    "files": {"report.txt": "d", "score.json": "d", "settings.toml": "d"},
}
LIBRARY = (
    'settings = "a.csv"\n'
    + entry("a", "must_trip = { earliest_s = 1.0, deadline_s = 20 }")
    + entry("b", 'undecided = true\nnote = "n"', file="a.csv")
)
LEVEL = "confidence = 0.9\nmax_missed_probability = 0.2\nmin_margin_coverage = 0.8\n"
RECIPE = "[recipe]\nfamilies = ['power-dip']\ncount = 1\nseed = 3\nhours = 2.0\nformat = 'csv'\nupsets_per_hour = 1.0\nloggers = 'field'\n"
PROFILE_FREE = (
    "fingerprints unit reference file encoding separator decimal thousands header_line sentinels site altitude"
)
FILES = {
    "settings": File(
        "settings.toml",
        tomllib.loads(SETTINGS + LEVEL),
        read_settings,
        frozenset(("confidence", "max_missed_probability", "min_margin_coverage")),
    ),
    "library": File(
        "library.toml",
        tomllib.loads(LIBRARY),
        _folder(read_library),
        frozenset(("settings", "note", "must_trip", "undecided")),
    ),
    "recipe": File(
        "library.toml",
        tomllib.loads(LIBRARY + RECIPE),
        _folder(lambda folder: recipe_of(read_library(folder))),
        frozenset(("settings", "recipe", "hours", "upsets_per_hour", "loggers", "note", "must_trip", "undecided")),
    ),
    "tolerances": File(
        "tolerances.toml",
        tomllib.loads(TOLERANCES),
        read_tolerances,
        frozenset(("oil_pressure", "suction_pressure", "offset", "gain", "lag")),
    ),
    "profile": File(
        "profile.toml",
        {"fingerprints": ["f"], **tomllib.loads(STATED)},
        read_profile,
        frozenset((*PROFILE_FREE.split(), "trace", "machine", "note", "origin", "[time].column", "zone")),
    ),
    "score report": File("score.json", SCORE, read_report, loose=True),
    "record": File("record.json", RECORD, _folder(_read_about), loose=True),
    "tuning report": File("report.json", json.loads(tuning_report()[0]), _folder(read_tuning), frozenset(("trip_delay",)), loose=True),
    "entry of a library begun": File("made.json", json.loads(MADE), _made, frozenset(("ride_through",))),
}  # fmt: skip
# What stands for a value of any kind: most keys take none of them, some take one or two.
VALUES: list[Any] = [True, False, 7, -0.5, 1e300, "", " ", "a\nb", "\0", [], [[]], [True], {}, {"a": 1}]


def places(content: Any, above: Path_ = ()) -> Iterator[Path_]:
    """Yield where each key of a file stands."""
    for key, value in content.items() if isinstance(content, dict) else enumerate(content):
        if isinstance(key, str):
            yield (*above, key)
        if isinstance(value, dict) or (isinstance(value, list) and any(isinstance(item, dict) for item in value)):
            yield from places(value, (*above, key))


def table_of(content: Any, place: Path_) -> Any:
    """Return the table that a key stands in."""
    for key in place[:-1]:
        content = content[key]
    return content


def told(file: File, content: dict[str, Any], folder: Path) -> str | None:
    """Return how a file with this content is refused, None where it is taken."""
    (folder / "a.csv").touch()
    path = folder / file.name
    path.write_text(json.dumps(content) if path.suffix == ".json" else tomlkit.dumps(content), encoding="utf-8")
    try:
        file.read(path)
    except Refusal as refused:
        said = str(refused)
    else:
        return None
    assert "\n" not in said
    assert said.startswith(f"{path}: "), said
    return said.removeprefix(str(folder))


@pytest.mark.parametrize("kind", FILES)
def test_the_files_are_well_formed(kind: str, tmp_path: Path) -> None:
    """Catches a property that holds because everything is refused."""
    assert told(FILES[kind], FILES[kind].content, tmp_path) is None


@pytest.mark.parametrize("kind", FILES)
def test_a_key_that_is_missing_is_named(kind: str, tmp_path: Path) -> None:
    """Catches a default that stands in for a forgotten key, and a traceback where it is used."""
    file = FILES[kind]
    for place in places(file.content):
        content, key = copy.deepcopy(file.content), str(place[-1])
        del table_of(content, place)[key]
        refused = told(file, content, tmp_path)
        if key in file.free or place == ("time", "column"):
            assert refused is None or key in refused or "no label" in refused, refused
        elif place == ("trace",):
            assert refused is not None and "[[trace]]: no traces" in refused
        elif place != ("running", "column"):  # it may be that of the speed, which is looked at together
            assert refused is not None and key in refused, (place, refused)


@pytest.mark.parametrize("kind", FILES)
def test_a_key_that_is_not_known_is_named_with_the_nearest(kind: str, tmp_path: Path) -> None:
    """Catches a misspelt key that is passed over; in what a command wrote it is left to later versions."""
    file = FILES[kind]
    for place in places(file.content):
        content, key = copy.deepcopy(file.content), str(place[-1])
        table_of(content, place)[f"{key}z"] = "x"
        refused = told(file, content, tmp_path)
        if file.loose and place[:-1] != ("files",):
            assert refused is None
        else:
            assert refused is not None and f'{key}z = "x": unknown key' in refused, (place, refused)
            assert f"{key}? All: " in refused or f"[{key}]? All: " in refused or f"[[{key}]]? All: " in refused


@pytest.mark.slow("writes and reads some two thousand files")
@pytest.mark.parametrize("kind", FILES)
def test_a_value_of_another_kind_is_named(kind: str, tmp_path: Path) -> None:
    """Catches a traceback, a switch that counts as one, and a refusal that says only that the file is bad."""
    file = FILES[kind]
    for place in places(file.content):
        for value in VALUES:
            content, key = copy.deepcopy(file.content), str(place[-1])
            was = table_of(content, place)[key]
            table_of(content, place)[key] = value
            refused = told(file, content, tmp_path)
            if refused is None:
                kinds = (int, float) if isinstance(was, float) else type(was)
                assert isinstance(value, kinds) or was is None or "given" in place or key in MORE, (place, value)
                assert not isinstance(value, bool) or isinstance(was, bool) or "given" in place, (place, value)
            else:
                inside = [
                    str(name) for name in (value if isinstance(value, dict) else was if isinstance(was, dict) else ())
                ]
                assert any(part in refused for part in (key, *inside)), (place, value, refused)


MORE = ("first_trip_s", "margin_s", "missed_limit", "worst_margin_s", "column", "deadline_s", "header_line", "verdict")
SHAPE = Keys(
    {
        "plain": Key(number(0, 5), "0 to 5"),
        "words": Key(list_of(one_of("a", "b")), needed=False),
        "part": Keys({"count": Key(whole(1)), "inner": Keys({"x": Key(text)}, needed=False)}, needed=False),
        "rows": Keys({"id": Key(name)}, needed=False, many=True),
    }
)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("plain = 6", "f.toml: plain = 6: outside the admitted range; accepted: 0 to 5"),
        ("plain = nan", "f.toml: plain = nan: not a finite number; accepted: 0 to 5"),
        ("plain = true", "f.toml: plain = true: must be a plain number; accepted: 0 to 5"),
        ("", "f.toml: plain: missing key; accepted: 0 to 5"),
        ("plane = 1", "f.toml: plane = 1: unknown key; accepted: plain? All: plain, words, [part], [[rows]]"),
        ("plain = 1\n[port]", "f.toml: [port]: unknown section; accepted: [part]? All: plain, words, [part], [[rows]]"),
        ("plain = 1\n[[row]]\n", "f.toml: [[row]]: unknown section; accepted: [[rows]]? All: plain, words, [part], [[rows]]"),
        ("plain = 1\nwords = ['a', 'c']", 'f.toml: words = ["a", "c"]: not one of those; accepted: these of a tool'),
        ("plain = 1\npart = 3", "f.toml: [part] = 3: must be a table, not a value; accepted: these of a tool"),
        ("plain = 1\n[part]\ncount = 0", "f.toml: [part] count = 0: must be a whole number from 1; accepted: these of a tool"),
        ("plain = 1\n[part]\ncount = 1\ninner = { y = 1 }", "f.toml: [part] inner.y = 1: unknown key; accepted: x"),
        ("plain = 1\n[[rows]]\nid = 'r'\n[[rows]]\n", "f.toml: [[rows]] 2, id: missing key; accepted: these of a tool"),
        ("plain = 1\n[[rows]]\nid = 'r'\nidd = 1\n", 'f.toml: [[rows]] 1 (id "r"), idd = 1: unknown key; accepted: id? All: id'),
    ],
)  # fmt: skip
def test_a_refusal_reads_as_the_file_does(content: str, said: str) -> None:
    """Catches a key that is named without its table, and a table that is named otherwise than it stands there."""
    with pytest.raises(Refusal) as refused:
        fit(Path("f.toml"), tomllib.loads(content), SHAPE, accepted="these of a tool")

    assert str(refused.value) == said


def test_what_a_command_wrote_is_named_by_its_path() -> None:
    """Catches the heads of TOML in a refusal about JSON."""
    shape = Keys({"a": Keys({"b": Keys({"c": Key(or_none(whole()))}, many=True, loose=True)}, loose=True)}, loose=True)
    assert fit(Path("f"), {"a": {"b": [{"c": None, "later": 1}]}, "new": 2}, shape) == {"a": {"b": [{"c": None}]}}
    with pytest.raises(Refusal, match=r"^f: a\.b 2, c = 0\.5: must be a whole number$"):
        fit(Path("f"), {"a": {"b": [{"c": 1}, {"c": 0.5}]}}, shape)


def test_a_value_nested_deep_is_refused_in_words() -> None:
    """Catches a refusal that ends in a traceback where it shows the value."""
    deep: list[Any] = []
    for _ in range(3000):
        deep = [deep]
    with pytest.raises(Refusal, match=r"^f: plain = \(nested too deep to be shown\): must be a plain number"):
        fit(Path("f"), {"plain": deep}, SHAPE)


@pytest.mark.slow("tries many cases of a large space")
@given(st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(), st.lists(st.integers(), max_size=2)))
def test_readers_take_what_they_say_or_say_why_not(value: Any) -> None:
    """Catches a reader that lets a value of another kind through, or ends otherwise than it says."""
    for read, kinds in ((number(), (int, float)), (whole(), int), (text, str), (name, str), (one_of("a"), str)):
        with contextlib.suppress(UnfitError):
            found = read(value)
            assert isinstance(found, kinds)
            assert not isinstance(found, bool)


@pytest.mark.parametrize("value", [10**400, -(10**400), float("nan"), float("inf"), -float("inf")])
def test_a_number_that_is_none_is_refused_in_words(value: float) -> None:
    """Catches a whole number of four hundred digits that ends the program, and one that every comparison passes."""
    with pytest.raises(UnfitError, match="not a finite number"):
        number()(value)


def test_a_number_may_be_either_end_of_its_range() -> None:
    """Catches the least or the most that is admitted refused, and what lies just beyond taken."""
    read = number(-1.5, 2.0, "not so")
    assert [read(value) for value in (-1.5, 2, 0)] == [-1.5, 2.0, 0.0]
    for value in (-1.5000001, 2.0000001):
        with pytest.raises(UnfitError, match="not so"):
            read(value)
    assert whole(1)(1) == 1
    for wrong in (0, 1.0, True):
        with pytest.raises(UnfitError):
            whole(1)(wrong)
