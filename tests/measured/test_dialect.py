"""What a text file shows of itself, each rule at its bound: encoding, header, unit row, first readings, units in cells."""

import hashlib
from collections.abc import Callable
from pathlib import Path

import pytest

from replay.ground.refusal import Refusal
from replay.measured.dialect import SAMPLE_BYTES, Dialect, fingerprint, is_unit_row, read_dialect
from replay.measured.profile import FileForm

HEADER = "t;oil;suction;run\n"
ROWS = "0;3.5;2.5;1\n1;3.5;2.5;1\n2;3.5;2.5;0\n"
Look = Callable[..., Dialect]


@pytest.fixture
def look(tmp_path: Path) -> Look:
    """Return a function that looks at a file of these bytes or this text."""

    def given(data: str | bytes, names: tuple[str, ...] = (), **stated: object) -> Dialect:
        path = tmp_path / "log.csv"
        path.write_bytes(data.encode() if isinstance(data, str) else data)
        return read_dialect(path, FileForm(**stated), frozenset(names))  # type: ignore[arg-type]

    return given


ENCODED = [
    ("t;oil;suction\n0;3;2\n1;3;2\n", "utf-16-le", "utf-16-le"),
    ("t;oil;suction\n0;3;2\n1;3;2\n", "utf-16-be", "utf-16-be"),
    ("t;oil;suction\n0;3;2\n1;3;2\n", "utf-16", "utf-16"),
    ("t;Pöl;suction\n0;3;2\n1;3;2\n", "utf-8", "utf-8"),
    ("t;Pöl;suction\n0;3;2\n1;3;2\n", "utf-8-sig", "utf-8-sig"),
    ("t;Pöl;suction\n0;3;2\n1;3;2\n", "cp1252", "cp1252"),
    ("t;\u20acöl;suction\n0;3;2\n1;3;2\n", "cp1252", "cp1252"),
    *((f"t;Pöl{chr(code)};suction\n0;3;2\n1;3;2\n", "latin-1", "latin-1") for code in (0x81, 0x8D, 0x8F, 0x90, 0x9D)),
    ("t;Œl;suction\n0;3;2\n1;3;2\n", "cp1252", "cp1252"),
    ("t;Давление;s\n" + "0;3.25;2.25\n" * 3, "utf-16-le", "utf-16-le"),  # letters of which no byte is zero
]


@pytest.mark.parametrize(("text", "written", "told"), ENCODED)
def test_an_encoding_is_told_by_its_mark_its_zeros_or_what_it_cannot_hold(
    text: str, written: str, told: str, look: Look
) -> None:
    """Catches the two orders of UTF-16 exchanged, and a letter that old Windows has read as a control character."""
    found = look(text.encode(written))

    assert (found.encoding, found.names[1]) == (told, text.split(";")[1])


@pytest.mark.parametrize(
    "data",
    [
        b"t;oil;run\n0;3;1\n" + b"1;3;1\n" * 15 + b"\x01\x02",  # a control character in a hundred
        b"t;oil;run\n0;3;1\n" + b"\0" * 40,
    ],
)
def test_a_file_of_bytes_is_no_text(data: bytes, look: Look) -> None:
    """Catches a file of another kind read as a log, since it holds a line that looks like one."""
    with pytest.raises(Refusal, match="not text"):
        look(data)


@pytest.mark.parametrize(("more", "last"), [(0, "9"), (1, "")])
def test_the_last_line_of_the_sample_counts_where_the_file_ends_with_it(more: int, last: str, look: Look) -> None:
    """Catches a row that is lost at the end of a file of just that size, and a torn one that is taken for whole."""
    text = HEADER + "0;3.5;2.5;1\n" * (SAMPLE_BYTES // 12)
    text = text[: text.rindex("\n", 0, SAMPLE_BYTES - 20) + 1]
    text += "9;3.5;2." + "5" * (SAMPLE_BYTES + more - len(text) - 10) + ";1"
    found = look(text)

    assert len(text) == SAMPLE_BYTES + more
    assert found.sample[-1][0] == (last or "0")


@pytest.mark.parametrize(
    ("text", "header", "data", "passed_over"),
    [
        (HEADER + ROWS, 1, 2, ()),
        ("Site;Coldstore;North;7a\n" + HEADER + ROWS, 2, 3, ()),  # as wide as the rows: what stands next to them
        (HEADER + "logger;north;;\n" + ROWS, 1, 3, (2,)),  # named by half is no header
        (HEADER + "logger;north;7a;\n" + ROWS, 2, 3, ()),
        (HEADER + "bar;bar;pump;x\n" + ROWS, 2, 3, ()),  # half of it are units
        (HEADER + "s;bar;bar;x\n" + ROWS, 1, 3, ()),
        (HEADER + "0;bad;bad;1\n" + ROWS, 1, 2, ()),  # half of a row is as the others
        (HEADER + "\n\nlogged by;us\n" + ROWS, 1, 5, (4,)),
        (HEADER + "start;7;;\n" + ROWS, 1, 2, ()),  # a number in it must not be passed over
        ("t;oil;suction\n" + ROWS.replace("\n1;", "\n9;"), 1, 2, ()),  # a name short
        ("t;oil\n" + ROWS, 0, 2, ()),
        (ROWS, 0, 1, ()),
    ],
)
def test_header_and_readings_are_where_a_reader_sees_them(
    text: str, header: int, data: int, passed_over: tuple[int, ...], look: Look
) -> None:
    """Catches a preamble taken for the header, a row of readings passed over, and a line named that is another one."""
    found = look(text)

    assert (found.header_line, found.data_line, found.passed_over) == (header, data, passed_over)


def test_the_names_of_a_profile_say_which_row_is_the_header(look: Look) -> None:
    """Catches a line of words between header and readings taken for the names, though the profile knows the other."""
    text = HEADER + "clock;pump;line;contact\n" + ROWS

    assert look(text).header_line == 2
    assert look(text, ("oil", "suction")).header_line == 1
    assert look(text, ("oil", "elsewhere")).header_line == 2


def test_a_stated_header_may_be_any_line_above_the_readings(look: Look) -> None:
    """Catches the line just above the readings refused, and one within them taken."""
    text = "Logger\n" + HEADER + ROWS

    assert look(text, header_line=2).names == ("t", "oil", "suction", "run")
    assert look(text, header_line=1).names == ("Logger", "", "", "")
    assert look(text, header_line=0).names == ("", "", "", "")
    with pytest.raises(Refusal, match="readings begin in line 3"):
        look(text, header_line=3)


@pytest.mark.parametrize(
    ("above", "words", "refused"), [(5, "", True), (4, "", False), (5, "ok;", True), (5, "ok;on;", False)]
)
def test_columns_that_change_within_a_file_are_refused(above: int, words: str, refused: bool, look: Look) -> None:
    """Catches half a log that is passed over as a preamble: five rows of a time and numbers are none."""
    old = "".join(f"2026-03-02 08:00:0{second};3.5;{words}9\n" for second in range(above))
    new = "time;oil;suction;crank;level;run\n" + "".join(
        f"2026-03-02 08:01:0{second};3.5;2.5;2.5;1;1\n" for second in range(9)
    )
    if refused:
        with pytest.raises(Refusal, match=rf"lines 1 to 5.*5 rows of readings in {3 + words.count(';')} columns"):
            look(old + new)
    else:
        assert look(old + new).header_line == above + 1


@pytest.mark.parametrize(
    ("row", "units"),
    [
        (["", "bar", "bar", "-"], True),
        (["hh:mm:ss", "psig", "", ""], True),
        (["", "bar", "pump", ""], False),
        (["", "bar", "bar", "pump"], True),
        (["", "bar", "7", ""], False),
        (["text", "1", "-", ""], False),
        (["", "bar x10", "0.1 bar", ""], True),
    ],
)
def test_a_row_of_units_is_one_of_which_more_than_half_are_units(row: list[str], units: bool) -> None:
    """Catches a row of names with one unit among them, and one of readings, taken for the units."""
    assert is_unit_row(row) is units


def test_rows_at_the_end_show_what_a_row_of_readings_is(look: Look) -> None:
    """Catches a long list of settings at the top taken for the readings."""
    top = "".join(f"setting {number};{number}\n" for number in range(100))
    found = look(top + HEADER + "0;3.5;2.5;1\n" * 200)

    assert (found.header_line, found.data_line, found.passed_over) == (101, 102, ())


def test_the_unit_row_goes_before_a_unit_in_the_cells(look: Look) -> None:
    """Catches a unit row that is not heard where the cells say less."""
    found = look("t;oil;suction;run\ns;bar(a);bar;-\n" + "0;3.5 bar;2.5;1\n" * 3)

    assert [found.unit(place) for place in range(4)] == ["s", "bar(a)", "bar", "-"]


def test_units_stand_in_cells_where_most_numbers_have_them(look: Look) -> None:
    """Catches a unit taken from half of the cells, one left in the number, and one in the wrong column."""
    text = "t;oil;suction;run\n0;3.5 bar;2.5 bar;1\n1;3.6 bar;2.5;1\n2;3.7;2.5;0\n3;3.8 bar;2.6 bar;0\n"
    found = look(text)

    assert found.cell_units == ("", "bar", "", "")
    assert [found.unit(place) for place in range(4)] == ["", "bar", "", ""]
    assert found.column(1) == ["3.5", "3.6", "3.7", "3.8"]
    assert any(line == "units stand in the cells: bar" for line in found.notes())


@pytest.mark.parametrize(
    ("text", "separator"),
    [
        ("t;oil;run\n0;3,5;1\n1;3,5;1\n", ";"),
        ("t,oil,run\n0,3.5,1\n1,3.5,1\n", ","),
        ("t\toil\trun\n0\t3,5\t1\n1\t3,5\t1\n", "\t"),
        ("t|oil|run\n0|3,5|1\n1|3,5|1\n", "|"),
        ("sep=,\nt;x,oil,run\n0;0,3,1\n1;0,3,1\n", ","),
        ('"sep=|"\nt|oil\n0|3\n1|3\n', "|"),
        ("sep=x\nt;oil\n0;3\n1;3\n", ";"),
    ],
)
def test_the_separator_is_the_one_that_parts_rows_into_readings(text: str, separator: str, look: Look) -> None:
    """Catches a decimal comma that parts columns, and the word of a spreadsheet that is not heard."""
    assert look(text).separator == separator


@pytest.mark.parametrize(("end", "only_cr"), [("\n", False), ("\r\n", False), ("\r", True)])
def test_lines_end_as_they_do(end: str, only_cr: bool, look: Look) -> None:
    """Catches lines of old machines read as one, and a return before each new line taken for an end of its own."""
    found = look((HEADER + ROWS).replace("\n", end))

    assert (found.only_cr, found.data_line, len(found.sample)) == (only_cr, 2, 3)


def test_a_letter_that_the_sample_cuts_in_two_hides_no_file(look: Look) -> None:
    """Catches a log that is refused for the place at which the look at it ends."""
    for ahead in ("", "x"):
        text = "t;Pöl;suction" + ahead + "\n" + "0;3;é\n" * (SAMPLE_BYTES // 6)
        assert look(text).encoding == "utf-8"


def test_a_first_line_without_an_end_is_refused(look: Look) -> None:
    """Catches a file without rows that is searched for readings."""
    with pytest.raises(Refusal, match="line 1: longer than 65536 characters"):
        look("0;" * 40000)


def test_the_fingerprint_is_that_of_names_and_units_in_their_order() -> None:
    """Catches profiles that no longer find their files: the digits are kept in them."""
    wanted = hashlib.sha256(b"t\ts\noil\tbar").hexdigest()[:16]

    assert fingerprint(("t", "oil"), ("s", "bar")) == wanted
    assert fingerprint(("oil", "t"), ("bar", "s")) != wanted


STAMPED = "{n}2026-03-02 08:00:0{s};3.5;2.5;1{end}\n"


@pytest.mark.parametrize(
    ("head", "n", "end", "names"),
    [
        ("time;oil;suction;run", "{s};", "", ("", "time", "oil", "suction", "run")),  # row numbers without a name
        ("time;oil;suction;run", "", ";ok", ("time", "oil", "suction", "run", "")),
        ("time;oil;suction;run", "", ";", ("time", "oil", "suction", "run", "")),
        ("no;time;oil;suction;run", "", "", ("time", "oil", "suction", "run")),
        ("time;oil;suction;run;note", "", "", ("time", "oil", "suction", "run")),
        ("when;oil;suction;run", "{s};", "", ("when", "oil", "suction", "run", "")),  # no name of a time: as it stands
    ],
)
def test_names_stand_over_their_own_columns(head: str, n: str, end: str, names: tuple[str, ...], look: Look) -> None:
    """Catches every name taken one column too far, so that suction is read as oil pressure and nobody is asked."""
    rows = "".join(STAMPED.format(n=n.format(s=s), s=s, end=end) for s in range(8))
    in_two = "".join(f"2026-03-02;08:00:0{s};3.5;2.5;1\n" for s in range(8))

    assert look("date;time;oil;suction\n" + in_two).names == ("date", "time", "oil", "suction", "")
    assert look(f"{head}\n{rows}").names == names


def test_a_name_too_few_over_a_column_that_counts_is_refused(look: Look) -> None:
    """Catches row numbers taken for seconds, and each name one column too far."""
    rows = "".join(f"{row};{0.5 * row};3.5;2.5;1\n" for row in range(8))
    with pytest.raises(Refusal, match="4 names over 5 columns, and the first column counts rows or seconds"):
        look("t;oil;suction;run\n" + rows)
    assert look("t;oil;suction;run\n" + rows, header_line=0).names == ("", "", "", "", "")


def test_units_may_stand_above_the_names(look: Look) -> None:
    """Catches units in the row above the names passed over; a unit row below goes first, and one far above is none."""
    units = ";bar;kPa;\n"
    assert look(units + HEADER + ROWS).units == ("", "bar", "kPa", "")
    assert look(units + HEADER + "s;psi;psi;\n" + ROWS).units == ("s", "psi", "psi", "")
    assert look(units + "Site;North;7;a\n" + HEADER + ROWS).units == ("", "", "", "")


@pytest.mark.parametrize(
    ("head", "row", "split"),
    [
        ("time,oil,suction,run", "2026-03-02 08:00:0{s},4,5{s},213,1", True),  # 4,5 bar
        ("time,oil,suction,run", "2026-03-02 08:00:0{s},250,4.5,2.5,1", True),  # 08:00:00,250
        ("time,oil,suction,run", "2026-03-02 08:00:0{s},4.5,2.5,1,ok", False),
        ("time,oil,suction,run,no", "2026-03-02 08:00:0{s},4,5{s},213,1", False),
    ],
)
def test_decimal_commas_that_part_columns_are_refused(head: str, row: str, split: bool, look: Look) -> None:
    """Catches 4,5 bar read as 4 bar, with the 5 as suction: nothing else in the file looks wrong."""
    text = "\n".join([head, *(row.format(s=s) for s in range(8))]) + "\n"
    if split:
        with pytest.raises(Refusal, match="decimal commas that part columns"):
            look(text)
    else:
        assert look(text).names[0] == "time"


def test_a_quoted_name_may_go_over_several_lines(look: Look) -> None:
    """Catches a file that lost all its names to a line break in one of them, and a line number off by these breaks."""
    head = 'site;north\n\nt;"oil\npressure\n(bar)";suction;run\n'
    found = look(head + ROWS)
    assert found.names == ("t", "oil pressure (bar)", "suction", "run")
    assert (found.header_line, found.data_line) == (3, 6)
    assert look('pipe of 7"\nt;oil 7" line;suction;run\n' + ROWS).names == ("t", 'oil 7" line', "suction", "run")


@pytest.mark.parametrize(
    ("above", "head", "names"),
    [
        (";K1;;K2;", "t;oil;run;oil;run", ("t", "K1 oil", "K1 run", "K2 oil", "K2 run")),
        (";Oil;Suction;Oil;Motor", "t;P;P;dP;run", ("t", "Oil P", "Suction P", "Oil dP", "Motor run")),
        ("Site;North;;;hall", "t;oil;suction;dp;run", ("t", "oil", "suction", "dp", "run")),  # each name stands once
        (";K1;;;", "t;oil;run;oil;run", ("t", "oil", "run", "oil", "run")),  # parted by nothing
        (";bar;bar;psi;", "t;oil;p;oil;run", ("t", "oil", "p", "oil", "run")),
        (";K1;K1;K1;K1", "t;oil;run;oil;run", ("t", "oil", "run", "oil", "run")),
    ],
)
def test_names_that_stand_several_times_are_told_apart_by_their_groups(
    above: str, head: str, names: tuple[str, ...], look: Look
) -> None:
    """Catches two pressures of one name, which only the row above tells apart, and a preamble put before the names."""
    rows = "".join(f"{s};3.5;2.5;1.0;1\n" for s in range(8))

    assert look(f"{above}\n{head}\n{rows}").names == names


def test_names_that_a_profile_has_go_before_their_groups(look: Look) -> None:
    """Catches a profile that read a file by its unique names and no longer finds them."""
    text = ";K1;;K2;\nt;oil;run;oil;status\n" + "".join(f"{s};3.5;2.5;1.0;1\n" for s in range(8))
    assert look(text).names[4] == "K2 status"
    assert look(text, ("t", "status")).names[4] == "status"
