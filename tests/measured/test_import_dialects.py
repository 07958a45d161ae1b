"""Text files in the dialects of loggers and spreadsheets give the same readings."""

import csv
import datetime as dt
import io
import re
import tempfile
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from replay.measured.cells import BadCell, number_pattern, text_numbers
from replay.measured.dialect import read_dialect
from replay.measured.marks import Marks, find_marks
from replay.measured.profile import FileForm
from tests.support.measured import HEADER, SEA_LEVEL_PA, bring_in, profile_with, readings

PA_IN = {"bar": 100000.0, "kPa": 1000.0, "mbar": 100.0, "Pa": 1.0, "psi": 6894.757293168361, "kg/cm2": 98066.5}
DIGITS = {"bar": 5, "kPa": 3, "mbar": 2, "Pa": 0, "psi": 6, "kg/cm2": 7}


def written(pascals: int, unit: str, offset: float) -> str:
    """Return absolute Pa as the shortest text in a unit that still tells every Pa."""
    return f"{(pascals - offset) / PA_IN[unit]:.{DIGITS[unit]}f}"


@st.composite
def logs(draw: st.DrawFn) -> tuple[bytes, str, list[tuple[int, int | None, int, int]]]:
    """Draw a log in some dialect, the profile for it, and the (ms, oil Pa, suction Pa, running) that it says."""
    separator, decimal = draw(
        st.sampled_from([(",", "."), (";", ","), (";", "."), ("\t", ","), ("\t", "."), ("|", ".")])
    )
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252", "latin-1"]))
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    unit = draw(st.sampled_from(sorted(PA_IN)))
    gauge = draw(st.booleans())
    clock = draw(
        st.sampled_from(["elapsed s", "elapsed ms", "epoch s", "epoch ms", "iso", "iso z", "local", "two columns"])
    )
    unit_place = draw(st.sampled_from(["header", "row", "profile"]))
    quoted = draw(st.booleans())
    thousands = draw(st.sampled_from(["", "", " ", "'", "." if decimal == "," else ","]))
    if thousands == separator or (quoted is False and separator in thousands):
        thousands = ""
    steps = draw(st.lists(st.integers(1, 5000), min_size=2, max_size=12))
    begin = draw(st.sampled_from([1700000000000, 1767225600000])) if clock not in ("elapsed s", "elapsed ms") else 0
    offset = float(SEA_LEVEL_PA) if gauge else 0.0
    rows, said, now = [], [], begin
    for step in steps:
        now += step * (1000 if clock in ("epoch s", "local", "two columns") else 1)
        oil = draw(st.one_of(st.none(), st.integers(150000, 1900000)))
        suction, running = draw(st.integers(20000, 900000)), draw(st.integers(0, 1))
        said.append((now, oil, suction, running))
        cells = ["" if pa is None else marked(written(pa, unit, offset), decimal, thousands) for pa in (oil, suction)]
        rows.append([*stamp(now, clock, decimal), *cells, str(running)])
    head = [["Zeit"], ["Datum", "Uhr"]][clock == "two columns"]
    mark = ("(g)" if gauge else "(a)") if unit_place != "profile" else ""
    names = ["Pöl", "Psaug"] if unit_place != "header" else [f"Pöl [{unit}{mark}]", f"Psaug [{unit}{mark}]"]
    lines = [[*head, *names, "Läuft"]]
    if unit_place == "row":
        lines.append([*[""] * len(head), unit + mark, unit + mark, "-"])
    text = "".join(
        separator.join(f'"{c}"' if quoted or separator in c else c for c in row) + end for row in [*lines, *rows]
    )
    preamble = draw(st.sampled_from(["", "Coldstore logger 7" + end, f"Station{separator}Coldstore{end}{end}"]))
    reference = '"gauge"' if gauge else '"absolute"'
    stated = f'unit = "{unit}"\nreference = {reference}' if unit_place == "profile" else "-unit\n-reference"
    time = '-unit\ncolumn = ["Datum", "Uhr"]' if len(head) > 1 else '-unit\ncolumn = "Zeit"'
    time += {"elapsed s": '\nunit = "s"', "elapsed ms": '\nunit = "ms"', "local": '\norder = "DMY"'}.get(clock, "")
    time += '\norder = "DMY"' if clock == "two columns" else ""
    time += '\nmax_gap = "2 h"' + ('\nzone = "UTC"' if clock in ("iso", "local", "two columns") else "")
    form = f'decimal = "{decimal}"\nthousands = "{thousands}"'
    if encoding == "utf-16-le":
        form += f'\nencoding = "{encoding}"'
    profile = profile_with(
        file=form,
        time=time,
        oil_pressure=f'column = "{names[0]}"\n{stated}',
        suction_pressure=f'column = "{names[1]}"\n{stated}',
        running='column = "Läuft"',
    )
    return (preamble + text).encode(encoding), profile, said


def marked(number: str, decimal: str, thousands: str) -> str:
    """Return a number in the marks of a country."""
    whole, _, rest = number.partition(".")
    sign, digits = ("-", whole[1:]) if whole.startswith("-") else ("", whole)
    while thousands and len(digits.split(thousands)[0]) > 3:
        first, *others = digits.split(thousands)
        digits = thousands.join([first[:-3], first[-3:], *others])
    return sign + digits + (decimal + rest if rest else "")


def stamp(ms: int, clock: str, decimal: str) -> list[str]:
    """Return a moment as its time cells."""
    moment = dt.datetime(1970, 1, 1, tzinfo=dt.UTC) + dt.timedelta(milliseconds=ms)
    if clock == "iso":
        return [moment.strftime("%Y-%m-%d %H:%M:%S.") + f"{ms % 1000:03d}"]
    if clock == "iso z":
        there = moment.astimezone(dt.timezone(dt.timedelta(hours=-3, minutes=-30)))
        return [there.strftime("%Y-%m-%dT%H:%M:%S,") + f"{ms % 1000:03d}-03:30"]
    if clock == "local":
        return [moment.strftime("%d.%m.%Y %H:%M:%S")]
    if clock == "two columns":
        return [moment.strftime("%d/%m/%y"), moment.strftime("%H:%M:%S")]
    return [
        f"{ms / 1000:.3f}".replace(".", decimal)
        if clock == "elapsed s"
        else str(ms // (1000 if clock == "epoch s" else 1))
    ]


@pytest.mark.outside(
    computation="encodings",
    source="Python's codecs",
    status="consulted",
    agreement="equal",
)
@pytest.mark.slow("tries many cases of a large space")
@settings(max_examples=30)
@given(log=logs())
def test_a_log_gives_the_same_pascals_and_milliseconds_in_every_dialect(
    log: tuple[bytes, str, list[tuple[int, int | None, int, int]]],
) -> None:
    """Catches a dialect, unit, zero or time form that is misread without a word."""
    data, profile, said = log
    with tempfile.TemporaryDirectory() as folder:
        report, traces = bring_in(Path(folder), data, profile)
    trace = traces[0]

    assert len(traces) == 1
    assert report.counts.read == report.counts.kept == len(said)
    assert trace.time_ms.tolist() == [ms - said[0][0] for ms, *_ in said]
    assert [None if pa == -1000000000 else pa for pa in trace.oil_pa.tolist()] == [oil for _, oil, *_ in said]
    assert trace.suction_pa.tolist() == [suction for *_, suction, _ in said]
    assert trace.running.tolist() == [running for *_, running in said]


MARKS = [
    (["1,5", "2"], ";", (",", "")),
    (["1.234,5"], ";", (",", ".")),
    (["1,234.5"], "\t", (".", ",")),
    (["1.234.567", "1,5"], ";", (",", ".")),
    (["0,123", "1,234"], ";", (",", "")),
    (["12345,678"], ";", (",", "")),
    (["14.6959"], ";", (".", "")),
    (["14,69"], ";", (",", "")),
    (["1'234.5", "3"], ";", (".", "'")),
    (["1 234,5"], ";", (",", " ")),
    (["1.234"], ",", (".", "")),
    (["1,234", "2.5"], ",", (".", ",")),
    (["1", "2"], ";", (".", "")),
    (["1,5E+03"], ";", (",", "")),
]


@pytest.mark.parametrize(("cells", "separator", "marks"), MARKS)
def test_marks_are_told_from_the_numbers_that_prove_them(
    cells: list[str], separator: str, marks: tuple[str, str]
) -> None:
    """Catches a thousand read as one, and one read as a thousand."""
    found = find_marks(cells, separator)
    assert (found.decimal, found.thousands, found.doubt) == (*marks, "")


@pytest.mark.parametrize(
    ("cells", "separator"),
    [(["1,234"], ";"), (["1.234"], ";"), (["1,234"], ","), (["1.5", "2,5"], ";"), (["1,234", "1.234"], ";")],
)
def test_marks_that_nothing_proves_stay_in_doubt(cells: list[str], separator: str) -> None:
    """Catches a guess at "1,234"."""
    assert find_marks(cells, separator).doubt


@pytest.mark.parametrize(
    ("stated", "pascals"),
    [
        ('decimal = ","', 224725),
        ('thousands = ","', 123501325),
        ('thousands = ""', 224725),
        ('decimal = "."', 123501325),
    ],
)
def test_a_stated_mark_settles_the_doubt(stated: str, pascals: int, tmp_path: Path) -> None:
    """Catches a statement of the profile that is not used, or only half."""
    trace = readings(tmp_path, HEADER + "0;1,234;2;1\n1;1,234;2;1\n", profile_with(file=stated))
    assert trace.oil_pa.tolist() == [pascals if pascals < 20_000_000 else -1000000000] * 2


DIALECTS = [
    ("sep=;\n" + HEADER + "0;3.5;2;1\n1;3.5;2;1\n", 3),
    ("Logger 7\nSite;Coldstore;;\n\n" + HEADER + "0;3.5;2;1\n1;3.5;2;1\n", 5),
    (HEADER + "s;bar;bar(g);-\n0;3.5;2;1\n1;3.5;2;1\n", 3),
    (HEADER + "sec;oil pump;suction line;contact\n0;3.5;2;1\n1;3.5;2;1\n", 3),
    ("t;oil;suction;run;\n0;3.5;2;1;\n1;3.5;2;1;\n", 2),
    ('"t";"oil";"suction";"run"\n"0";"3.5";"2";"1"\n"1";"3.5";"2";"1"\n', 2),
    (HEADER + " 0 ; +3.5 ;2; TRUE\n1;3.5;2;1.0\n", 2),
    (HEADER + "0;3.5;2;1\n1;3.5;2;1\n;;;\n\n\x1a", 2),
]


@pytest.mark.parametrize(("text", "first_line"), DIALECTS)
def test_preamble_unit_rows_blanks_and_quotes_are_no_obstacle(text: str, first_line: int, tmp_path: Path) -> None:
    """Catches a header taken for readings, readings for a header, and rows of nothing that become readings."""
    trace = readings(tmp_path, text)
    (tmp_path / "look.csv").write_text(text)

    assert trace.oil_pa.tolist() == [451325, 451325]
    assert trace.running.tolist() == [1, 1]
    assert read_dialect(tmp_path / "look.csv", FileForm(), frozenset({"t", "oil"})).data_line == first_line


@pytest.mark.outside(
    computation="quoted CSV",
    source="RFC 4180, section 2; Python's csv writer",
    status="consulted",
    agreement="equal; a line break in a name is read as a blank",
)
@pytest.mark.parametrize("quoting", [csv.QUOTE_MINIMAL, csv.QUOTE_ALL], ids=["where needed", "everywhere"])
@pytest.mark.parametrize("last_break", [True, False])
def test_fields_quoted_by_rfc_4180_are_read(quoting: int, last_break: bool, tmp_path: Path) -> None:
    """Catches a comma, a doubled quote or a line break within a field that ends it. Writer: Python's csv module.

    RFC 4180, section 2, rules 1 to 7. A line break in a name is read as a blank.
    """
    rows = [
        ["t", 'oil, "main"', "suction\r\nside", "run", "note"],
        ["0", "3.5", "2", "1", 'b"bb, c'],
        ["1", "3.5", "2", "1", "b\r\nbb"],
    ]
    text = io.StringIO()
    csv.writer(text, quoting=quoting).writerows(rows)
    data = text.getvalue() if last_break else text.getvalue().removesuffix("\r\n")
    own = {"oil_pressure": 'column = "oil, \\"main\\""', "suction_pressure": 'column = "suction side"'}
    trace = readings(tmp_path, data, profile_with(**own))

    assert (trace.time_ms.tolist(), trace.oil_pa.tolist()) == ([0, 1000], [451325, 451325])


def test_a_file_without_header_goes_by_column_numbers(tmp_path: Path) -> None:
    """Catches a first row of readings that is lost as a header."""
    numbered = profile_with(
        time="column = 1", oil_pressure="column = 2", suction_pressure="column = 3", running="column = 4"
    )
    assert readings(tmp_path, "0,3.5,2,1\n1,3.5,2,1\n", numbered).time_ms.tolist() == [0, 1000]


def test_the_fingerprint_stands_for_names_and_units_whatever_the_separator(tmp_path: Path) -> None:
    """Catches a profile that is used for a header whose units have changed."""
    seen = []
    for number, text in enumerate(["t;oil [bar];s [bar];r\n0;3;2;1\n1;3;2;1\n", "t,oil [bar],s [bar],r\n0,3,2,1\n"]):
        path = tmp_path / f"{number}.csv"
        path.write_text(text)
        seen.append(read_dialect(path, FileForm()).fingerprint)
    path.write_text("t,oil [psi],s [bar],r\n0,3,2,1\n")

    assert seen[0] == seen[1] != read_dialect(path, FileForm()).fingerprint


@given(
    cells=st.lists(st.text(alphabet="0123456789.,'+-\u2212eEinfa ", max_size=9), min_size=1, max_size=6),
    marks=st.sampled_from(
        [Marks(".", ""), Marks(",", ""), Marks(",", "."), Marks(".", ","), Marks(".", "'"), Marks(",", " ")]
    ),
)
@example(cells=["+-0"], marks=Marks(".", ""))
def test_a_column_of_text_is_read_only_where_every_cell_is_a_number_in_these_marks(
    cells: list[str], marks: Marks
) -> None:
    """Catches "1.2.3", "++5" or "inf" as a reading, and a quick conversion that takes what the rule would refuse."""
    nothing = {"", "nan", "-nan", "na"}
    good = [cell.strip().lower() in nothing or re.fullmatch(number_pattern(marks), cell.strip()) for cell in cells]
    column = pa.array(cells, pa.string())
    if not all(good):
        with pytest.raises(BadCell) as refused:
            text_numbers(column, marks, ())
        assert refused.value.row == [bool(found) for found in good].index(False)
        return
    plain = [
        cell.strip().replace(marks.thousands or "\0", "").replace(marks.decimal, ".").replace("\u2212", "-")
        for cell in cells
    ]
    said = [float("nan") if cell.lower() in nothing else float(cell) for cell in plain]
    if any(number in (float("inf"), float("-inf")) for number in said):
        with pytest.raises(BadCell, match="too large"):
            text_numbers(column, marks, ())
        return
    assert np.array_equal(text_numbers(column, marks, ()), said, equal_nan=True)
