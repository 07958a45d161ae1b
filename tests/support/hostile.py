"""Every reader of files and texts from outside, something good for each, and ways to spoil it.

A reader answers or refuses. `examine` lets nothing else pass: no other exception,
no refusal of more than one line or without the name of what is wrong.

How to add a reader of files or texts from outside: its row in `READERS` with something good to spoil. TOML and JSON are
read by replay/ground, which refuses what costs more than it says; a file that belongs to a library goes through
`check_inside` of replay/library/library.py, text for a terminal through replay/display/terminal.py.
"""

import functools
import io
import itertools
import json
import re
import shutil
import tempfile
import tomllib
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pa_parquet

from protect import outputs, state
from protect.protection import step
from replay.display.comparison import comparison_view
from replay.display.terminal import plain
from replay.engine import logic_digest
from replay.ground.refusal import Refusal, refusal
from replay.library import read_library
from replay.library.labels import relabel
from replay.machine import read_machine
from replay.measured.guess import draft_profile
from replay.port import conform
from replay.port.export import export_settings
from replay.port.vectors import Case, Difference, Tick, Vectors, middle_settings, read_vectors
from replay.port.vectors import _check as settings_check
from replay.report.contents import _tuning as found_by_tuning
from replay.report.record import RECORD, check_record, write_record
from replay.score import comparison, score
from replay.score.mix import read_mix
from replay.settings import read_settings
from replay.synth import libraries as synth
from replay.synth import recipe, synthesise
from replay.trace import read_pieces, read_trace
from replay.tuning.fresh import recipe_of
from replay.tuning.tolerance import read_tolerances
from replay.tuning.vary import every_candidate, read_space
from tests.conftest import SETTINGS, entry, trace_csv
from tests.support.exported import FORMS, read_exported
from tests.support.machines import SMALL, text_of
from tests.support.measured import HEADER, PROFILE, import_file
from tests.support.toolchain import dialogue

Read = Callable[[Path], object]


@dataclass(frozen=True)
class Reader:
    """What reads a file of this name in a prepared folder, and good files to spoil; each example costs about ms."""

    file: str
    read: Read
    seeds: Callable[[], list[bytes]]
    names_file: bool = True


# ---------------------------------------------------------------------------------------------- something good

TRACE = trace_csv(40, lambda s: 120.0 if s < 10 else 5.0)
WINDOW = "must_trip = { earliest_s = 1.0, deadline_s = 20.0 }"
LIBRARY = (
    '# The traces of one machine.\nsettings = "settings.toml"\n[mix]\nstarved = 2.0\n'
    "[recipe]\nfamilies = ['suction-valve-shut']\ncount = 1\nseed = 3\nformat = 'csv'\n"
    + entry("fault", WINDOW, "starved")
    + entry("quiet", "ride_through = true  # by inspection", "steady", "fault.csv")
    + 'note = "seen by the night shift"\n'
)
TOLERANCES = '[oil_pressure]\noffset = "8 kPa"\ngain = 0.005\nlag = "1 s"\n[suction_pressure]\noffset = "0.1 psi"\n'
VARIED = [
    "trip_delay=30s..90s/4\ncut_in=cut_out+4psi",
    "trips_to_lockout=1..3\nvacuum=5 inHg vac\nreload_fraction=0.25,0.5",
    "cut_in=cut_out+2psi..6psi/3\nfloor_weight=1..3/3",
]
STATED = PROFILE + (
    '[file]\nencoding = "utf-8"\nseparator = ";"\ndecimal = "."\nthousands = ","\nheader_line = 1\n'
    'sentinels = ["Bad", -999]\n[trace]\nmachine = "basalt"\nnote = "a"\norigin = "recorded: by hand"\n'
)
LOG = HEADER + "".join(f"{s};{3 + s % 7 / 10};2.{s % 3};1\n" for s in range(60))
DATED = "sep=,\nPlant log\nDate,Time,oil bar(g),suction bar(g),run\n" + "".join(
    f'2026-03-14,"09:00:{s:02d}",{3 + s % 7 / 10},2.{s % 3},{"RUN" if s > 3 else "STOP"}\n' for s in range(40)
)
DATED_PROFILE = """
[time]
column = ["Date", "Time"]
max_gap = "5 s"
zone = "Europe/Dublin"
[site]
altitude = "40 m"
[oil_pressure]
column = "oil bar(g)"
[suction_pressure]
column = "suction bar(g)"
[running]
column = "run"
on = ["RUN"]
off = ["STOP"]
"""


def parquet_trace() -> list[bytes]:
    """Return traces as Parquet: plain, compressed, of small pages and with nulls."""
    rows = 60
    columns: dict[str, Any] = {
        "time_s": pa.array(np.arange(rows, dtype=np.float64)),
        "oil_pressure_kpa": pa.array([None if i % 9 == 0 else 420.0 + i % 3 for i in range(rows)], pa.float64()),
        "suction_pressure_kpa": pa.array([300.0 + i % 2 for i in range(rows)]),
        "running": pa.array([i > 0 for i in range(rows)]),
    }
    return [_parquet(columns), _parquet(columns, compression="zstd", data_page_size=64, row_group_size=20)]


def parquet_log() -> list[bytes]:
    """Return a logger's Parquet with timestamps, units and words, and one of numbers."""
    rows = 60
    times = pa.array(np.datetime64("2026-03-14T09:00:00", "ms") + np.arange(rows) * np.timedelta64(1000, "ms"))
    words = pa.array(["1" if i > 3 else "0" for i in range(rows)])
    columns = {"t": times, "oil": pa.array([3.4 + i % 5 for i in range(rows)]), "suction": pa.array([2.0] * rows)}
    numbers = {**columns, "t": pa.array(np.arange(rows)), "run": pa.array([1] * rows)}
    return [_parquet({**columns, "run": words}), _parquet(numbers, use_dictionary=False, compression="none")]


def _parquet(columns: dict[str, Any], **options: Any) -> bytes:
    stream = io.BytesIO()
    pa_parquet.write_table(pa.table(columns), stream, **options)
    return stream.getvalue()


def mdf_log() -> list[bytes]:
    """Return a small MDF 4 file, as it is and compressed."""
    import asammdf

    fast, slow = np.arange(0, 6, 0.1), np.arange(0.05, 6, 1.0)
    words = {"val_0": 0, "text_0": b"OFF", "val_1": 1, "text_1": b"ON"}
    signals = [
        asammdf.Signal(3.0 + np.arange(60) / 100, fast, unit="bar", name="oil"),
        asammdf.Signal(np.arange(6) / 10, slow, unit="bar", name="suction", invalidation_bits=np.arange(6) == 3),
        asammdf.Signal(np.array([0, 1], dtype="u1"), np.array([0.2, 1.0]), name="run", conversion=words),
    ]
    files = []
    for compression in (0, 1):
        with tempfile.TemporaryDirectory() as folder, asammdf.MDF(version="4.10") as mdf:
            for signal in signals:
                mdf.append([signal])
            files.append(Path(mdf.save(Path(folder) / "log.mf4", compression=compression)).read_bytes())
    return files


MDF_PROFILE = re.sub(r'column = "t"\nunit = "s"\n', "", PROFILE) + 'on = ["ON"]\noff = ["OFF"]\non_change = true\n'


@functools.cache
def small_vectors() -> Vectors:
    """Return a set of two short cases, so that nothing has to be searched for."""
    values = middle_settings()
    cases = []
    for number in range(2):
        memory, results = [0] * state.STATE_SIZE, [0] * outputs.OUTPUTS_SIZE
        state.power_up(memory, values)
        start, ticks = tuple(memory), []
        for tick in range(4):
            inputs = [1000, 300000 + tick, 200000, 200000, 1, number]
            step(memory, values, inputs, results)
            ticks.append(Tick(tuple(inputs), tuple(memory), tuple(results)))
        cases.append(Case(f"by hand {number}", tuple(values), start, tuple(ticks)))
    return Vectors(logic_digest(), tuple(cases), (settings_check(middle_settings()),), (Difference(32, 1000, 0, 1000),))


def answers() -> list[bytes]:
    """Return all that a right port says over those."""
    lines = [answer for _, answer in dialogue(small_vectors())]
    return ["\n".join(["booting", "port 32 by hand", *lines, ""]).encode()]


def tuning_report() -> list[bytes]:
    """Return what a page takes of a tuning run, written out by hand."""
    whole = {"worst_margin_s": 12.5, "missed_limit": 0.1, "nuisance_limit_per_1000h": None, "verdict": "met"}
    line = {"number": 1, "digest": "d", "given": {"trip_delay": "90 s"}, "whole": whole}
    report = {"schema": "lubetrip-tune/1", "judged": 3, "pareto": [line], "chosen": 1, "rule": "best"}
    report |= {"library": {"digest": "d"}, "logic": {"digest": "d"}, "base": {"digest": "d"}, "base_settings": line}
    return [json.dumps(report, indent=1).encode()]


def prepare(folder: Path) -> None:
    """Write what the readers need beside the file that is spoiled."""
    (folder / "settings.toml").write_text(SETTINGS)
    (folder / "base.toml").write_text(SETTINGS)
    (folder / "fault.csv").write_text(TRACE)
    (folder / "library.toml").write_text(LIBRARY)
    (folder / "profile.toml").write_text(PROFILE)
    (folder / "mdf_profile.toml").write_text(MDF_PROFILE)
    (folder / "dated.toml").write_text(DATED_PROFILE)
    (folder / "good.csv").write_text(LOG)
    library = read_library(folder)
    result = score(library, read_settings(folder / "base.toml"))
    (folder / "good.json").write_text(json.dumps(result.as_json(), indent=1))
    write_record(folder / "record", library, result)
    begun = folder / "begun"
    shutil.copytree(folder, begun, ignore=lambda *_: ["begun"])
    work = folder / "made" / synth.WORK
    work.mkdir(parents=True)
    (work / "recipe.json").write_text(json.dumps(RECIPE.as_table()))
    (work / f"{ONE}.json").write_bytes(MADE)
    (folder / "made" / "traces").mkdir()
    (folder / "made" / "traces" / f"{ONE}.csv").write_text(TRACE)


RECIPE = recipe("suction-valve-shut", 1, 3, None, "csv")
ONE = "suction-valve-shut-00000"
MADE = json.dumps(
    {
        "file": f"traces/{ONE}.csv",
        "family": "f",
        "machine": "m",
        "oil": "o",
        "origin": "synthetic: x",
        "ride_through": True,
    }
).encode()


# ---------------------------------------------------------------------------------------------- what reads it


def _library(path: Path) -> object:
    library = read_library(path.parent)
    return read_mix(library, [("starved", "hit")], 0.95), recipe_of(library)


def _label(path: Path) -> object:
    return relabel(path.parent, "fault", "undecided", "the night shift", "the bearings", _day())


def _day() -> Any:
    import datetime as dt

    return dt.date(2026, 3, 14)


def _trace(path: Path) -> object:
    trace, pieces = read_trace(path), list(read_pieces(path, 7))
    assert sum(map(len, pieces)) == len(trace)
    return trace


def _pieces(path: Path) -> object:
    return list(read_pieces(path, 7))


def _report(path: Path) -> object:
    good = comparison.read_report(path.with_name("good.json"))
    found = comparison.compare(good, comparison.read_report(path), ("good.json", "spoiled.json"))
    json.dumps(found.as_json())
    return plain(comparison_view(found, "good.json", "spoiled.json"))


def _record(path: Path) -> object:
    return check_record(path.parent, None)


def _imported(path: Path, profile: Path | None) -> object:
    with tempfile.TemporaryDirectory(dir=path.parent) as folder:
        library = Path(folder) / "library"
        if profile is None:
            (library / "profiles").mkdir(parents=True)
            shutil.copy(path, library / "profiles" / "kept.toml")
            return import_file(path.with_name("good.csv"), library).as_json()
        made = [import_file(path, library, profile, repair=path.stat().st_size % 2 == 0).as_json()]
        return made, [read_trace(trace.path) for trace in read_library(library).entries]


def _profile(path: Path) -> object:
    with tempfile.TemporaryDirectory(dir=path.parent) as folder:
        return import_file(path.with_name("good.csv"), Path(folder) / "library", path).as_json()


def _log(path: Path) -> object:
    return _imported(path, path.with_name("profile.toml"))


def _dated(path: Path) -> object:
    return _imported(path, path.with_name("dated.toml"))


def _mdf(path: Path) -> object:
    return _imported(path, path.with_name("mdf_profile.toml"))


def _draft(path: Path) -> object:
    return tomllib.loads(draft_profile(path))


def _vary(path: Path) -> object:
    lines = path.read_bytes().decode("utf-8", "surrogateescape").split("\n")[:3]
    space = read_space(path.with_name("base.toml"), lines, open_ranges=len(lines) != 2)
    return every_candidate(space, 2000)


class _Said:
    """A port that says these lines, whatever it is asked."""

    name = "a port"

    def __init__(self, content: bytes) -> None:
        self.lines = content.split(b"\n")

    def send(self, text: str) -> None:
        """Pay no heed."""

    def receive(self) -> str:
        if len(self.lines) < 2:
            raise refusal(self.name, "", "has ended")
        return self.lines.pop(0).decode("ascii", errors="replace").strip()


def _port(path: Path) -> object:
    outcome = conform.conform(small_vectors(), _Said(path.read_bytes()))
    if outcome.mismatch is not None:
        return conform.words_of(outcome.mismatch)
    return outcome


def _begun(path: Path) -> object:
    """Take up the making of a library; what it leaves is put away."""
    with tempfile.TemporaryDirectory(dir=path.parents[2]) as folder:
        shutil.copytree(path.parents[1], Path(folder) / "made")
        return synthesise(Path(folder) / "made", RECIPE)


def _tuning(path: Path) -> object:
    judged: Any = SimpleNamespace(
        library_digest="d", engine=SimpleNamespace(digest="d"), settings=SimpleNamespace(digest="other")
    )
    return found_by_tuning(path.parent, judged)


def _text(text: str | bytes) -> Callable[[], list[bytes]]:
    return lambda: [text.encode() if isinstance(text, str) else text]


@functools.cache
def _prepared() -> dict[str, bytes]:
    with tempfile.TemporaryDirectory() as folder:
        prepare(Path(folder))
        names = ("good.json", f"record/{RECORD}", "base.toml", f"made/{synth.WORK}/recipe.json")
        tables = {form: export_settings(read_settings(Path(folder) / "base.toml"), form).encode() for form in FORMS}
        return {name: (Path(folder) / name).read_bytes() for name in names} | tables


def _from_prepared(*names: str) -> Callable[[], list[bytes]]:
    return lambda: [_prepared()[name] for name in names]


READERS: dict[str, Reader] = {
    "settings": Reader("settings.toml", read_settings, _text(SETTINGS)),
    "machine": Reader("machine.toml", read_machine, _text(text_of(SMALL))),
    "library": Reader("library.toml", _library, _text(LIBRARY)),
    "label": Reader("begun/library.toml", _label, _text(LIBRARY)),
    "CSV trace": Reader("spoiled.csv", _trace, _text(TRACE)),
    "CSV trace in pieces": Reader("spoiled.csv", _pieces, _text(TRACE)),
    "Parquet trace": Reader("spoiled.parquet", _trace, parquet_trace),
    "Parquet trace in pieces": Reader("spoiled.parquet", _pieces, parquet_trace),
    "score report": Reader("spoiled.json", _report, _from_prepared("good.json")),
    "record": Reader(f"record/{RECORD}", _record, _from_prepared(f"record/{RECORD}")),
    "settings of a record": Reader("record/settings.toml", _record, _text(SETTINGS), names_file=False),
    "profile": Reader("spoiled.toml", _profile, lambda: [STATED.encode(), PROFILE.encode()]),
    "kept profile": Reader(
        "kept.toml", lambda path: _imported(path, None), _text('fingerprints = ["83b6d1a8a39384f5"]' + PROFILE)
    ),
    "CSV log": Reader("spoiled.csv", _log, _text(LOG)),
    "CSV log with dates": Reader("spoiled.csv", _dated, _text(DATED)),
    "Parquet log": Reader("spoiled.parquet", _log, parquet_log),
    "MDF log": Reader("spoiled.mf4", _mdf, mdf_log),
    "draft of a profile": Reader("spoiled.bin", _draft, lambda: [LOG.encode(), DATED.encode(), *parquet_log()]),
    "draft for MDF": Reader("spoiled.mf4", _draft, mdf_log),
    "vectors": Reader("vectors.txt", read_vectors, lambda: [small_vectors().text().encode()]),
    "port": Reader("answers.txt", _port, answers),
    "exported table": Reader("table.c", read_exported, _from_prepared(*FORMS)),
    "tolerances": Reader("tolerances.toml", read_tolerances, _text(TOLERANCES)),
    "vary": Reader("vary.txt", _vary, lambda: [text.encode() for text in VARIED], names_file=False),
    "recipe of a library begun": Reader(
        f"made/{synth.WORK}/recipe.json", _begun, _from_prepared(f"made/{synth.WORK}/recipe.json"), names_file=False
    ),
    "entry of a library begun": Reader(f"made/{synth.WORK}/{ONE}.json", _begun, _text(MADE), names_file=False),
    "tuning report": Reader("report.json", _tuning, tuning_report),
}


def examine(reader: Reader, folder: Path, content: bytes) -> Any:
    """Read spoiled content; None where it was refused as a refusal has to read."""
    path = folder / reader.file
    path.write_bytes(content)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", RuntimeWarning)
            return reader.read(path) or True
    except Refusal as refused:
        told = str(refused)
        assert "\n" not in told, told
        assert len(told) < 3000, told
        assert not CONTROL.search(told), ascii(told)
        assert told.partition(": ")[2], told
        return None


CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")

# ---------------------------------------------------------------------------------------------- ways to spoil it

Change = tuple[int, int, int]  # which way, where, how much

# What may stand for a value in a file of text.
VALUE = re.compile(rb'"[^"\n]*"|\'[^\'\n]*\'|[-+]?\d[\d.eE+-]*|\btrue\b|\bfalse\b|\bnull\b')
VALUES = [
    b"0", b"-0", b"-1", b"1e308", b"-1e308", b"1e999", b"nan", b"-inf", b"NaN", b"Infinity", b"inf", b"1e-320",
    b"9223372036854775807", b"-9223372036854775808", b"18446744073709551616", b"0x" + b"f" * 5000, b"9" * 400,
    b"9" * 5000, b"0." + b"3" * 5000, b"true", b"false", b"null", b'""', b'" "', b"[]", b"{}", b"[[]]", b'["a", 1]',
    b'{"a": 1}', b"{ a = 1 }", b"{ earliest_s = nan, deadline_s = inf }", b"1979-05-27T07:32:00Z", b"07:32:00",
    b'"../outside"', b'"/etc/hostname"', b'"."', b'".."', b'"a\\u0000b"', b'"\\u001b[2J"', b'"\\ud800"', b'"\\u202e"',
    b'"1e999 kPa"', b'"1e308 d"', b'"-1e308 kPa"', b'"1 kPa kPa"', b'"9**9**9 s"', b'"1 m**9**9**9"', b'"1 s/0"',
    b'"1 ' + b"(" * 500 + b'"', b'"1 ' + b"k" * 9000 + b'"', b'"' + b"1" * 9000 + b'\\n"', b'"' + b"a" * 9000 + b'"',
    b'"zlib"', b'"undefined"', b'"idna"', b'"utf-16"', b'"utf-7"', b'"rot13"', b'"Europe/../../x"', b'"/etc/localtime"',
    b'"?"', b'"\xff"', b'"=1+1"', b"[" * 900 + b"]" * 900, b'"0 kPa"', b'"0 s"', b'"1e-9 s"', b'"nan s"', b"1_000",
]  # fmt: skip
TOKENS = [
    b"\0", b'"', b"'", b"\n", b"\r", b"\r\n", b"\t", b",", b";", b"[", b"]", b"{", b"}", b"=", b"..", b"/", b"+", b"-",
    b"\\", b"#", b"\xff\xfe", b"\xef\xbb\xbf", b"\xc0\x80", b"\xed\xa0\x80", b"\xf4\x90\x80\x80", b"\xe2\x80\xa8", b"\x85",
    b"\x1b[2J", b"\x1a", b"=1+1", b"@", b'"""', b"'''", b"[[trace]]\n", b"[a]\n", b"a.b.c = 1\n", b"a." * 3000 + b"a = 1\n",
    b"[" * 20000, b"{" * 20000, b'{"a":' * 20000, b"9" * 5000, b"a" * 70000, b"," * 70000, b"\n" * 70000, b"1;" * 30000,
    b"/999999999", b"..1e9", b"\xd9\xa3", b"\xef\xbc\x91", b"1e999", b"/" + b"9" * 5000, b"port 32 ", b"port " + b"9" * 5000,
    b" " * 3000 + b"x", b"(" * 3000,
]  # fmt: skip
NUMBERS = [0, 1, 0xFF, 0x7FFF, 0x7FFFFFFF, 0xFFFFFFFF, 0x7FFFFFFFFFFFFFFF, 0xFFFFFFFFFFFFFFFF, 10**9, 10**12]


def _flip(content: bytes, at: int, much: int) -> bytes:
    return (
        content[:at] + bytes([(content[at] ^ (1 + much % 255))]) + content[at + 1 :] if at < len(content) else content
    )


def _insert(content: bytes, at: int, much: int) -> bytes:
    return content[:at] + TOKENS[much % len(TOKENS)] + content[at:]


def _cut(content: bytes, at: int, much: int) -> bytes:
    return content[:at] + content[at + 1 + much % 200 :]


def _end(content: bytes, at: int, _: int) -> bytes:
    return content[:at]


def _repeat(content: bytes, at: int, much: int) -> bytes:
    return content[:at] + content[at : at + 1 + much % 300] * (2 + much % 7) + content[at:]


def _value(content: bytes, at: int, much: int) -> bytes:
    """Put another value where one stands."""
    found = VALUE.search(content, at) or VALUE.search(content)
    if found is None:
        return content
    return content[: found.start()] + VALUES[much % len(VALUES)] + content[found.end() :]


def _number(content: bytes, at: int, much: int) -> bytes:
    """Write a number of four or eight bytes over what stands there."""
    size = 8 if much % 2 else 4
    number = NUMBERS[much // 2 % len(NUMBERS)] & (256**size - 1)
    return content[:at] + number.to_bytes(size, "little") + content[at + size :]


def _line(content: bytes, at: int, much: int) -> bytes:
    """Drop a line, or put it somewhere else."""
    lines = content.split(b"\n")
    taken = lines.pop(at % len(lines))
    if much % 2:
        lines.insert(much // 2 % (len(lines) + 1), taken)
    return b"\n".join(lines)


def _code(content: bytes, _: int, much: int) -> bytes:
    """Write text in another encoding."""
    return content.decode("latin-1").encode(("utf-16", "utf-8-sig", "utf-16-be", "utf-32")[much % 4])


WAYS = (_flip, _insert, _cut, _end, _repeat, _value, _value, _value, _number, _line, _code)


def spoiled(content: bytes, changes: Sequence[Change]) -> bytes:
    """Return content after some changes; any three whole numbers are a change."""
    for way, at, much in itertools.islice(changes, 8):
        content = WAYS[way % len(WAYS)](content, at % (len(content) + 1), much)
    return content
