"""What a profile says: each key at the ends of its range, what is refused by name, and for how long a reading holds."""

from pathlib import Path

import pytest

from replay.ground.refusal import Refusal
from replay.measured.profile import Profile, read_profile
from tests.support.measured import PROFILE, profile_with


def read(folder: Path, text: str = PROFILE) -> Profile:
    """Return a profile from its text."""
    (folder / "p.toml").write_text(text, encoding="utf-8")
    return read_profile(folder / "p.toml")


ENDS = [
    ("time", 'max_gap = "1 ms"', 'max_gap = "0 ms"'),
    ("time", 'max_gap = "1 d"', 'max_gap = "86401 s"'),
    ("time", 'on_change = true\nlongest_hold = "30 d"', 'on_change = true\nlongest_hold = "2592001 s"'),
    ("time", 'on_change = true\nlongest_hold = "1 ms"', 'on_change = true\nlongest_hold = "0 s"'),
    ("time", 'column = ["a", "b"]', 'column = ["a", "b", "c"]'),
    ("running", "mean_above = 0", "mean_above = -0.01"),
    ("running", "mean_above = 0.999", "mean_above = 1"),
    ("oil_pressure", "valid = [4, 4.1]", "valid = [4, 4]"),
    ("oil_pressure", "valid = [4, 20]", "valid = [20, 4]"),
    ("oil_pressure", "valid = [4, 20]", "valid = [4]"),
    ("file", "header_line = 0", "header_line = -1"),
    ("site", 'altitude = "-500 m"', 'altitude = "-501 m"'),
    ("site", 'altitude = "5000 m"', 'altitude = "5001 m"'),
    ("running", 'current_above = "12 A"\ncurrent_below = "12 A"', 'current_above = "12 A"\ncurrent_below = "12.1 A"'),
    ("running", 'speed_above = "2 Hz"', 'speed_above = "2 A"'),
    ("file", 'decimal = ","\nthousands = "."', 'decimal = ","\nthousands = ","'),
    ("oil_pressure", 'unit = "bar(g)"', 'unit = "bar(a)"'),  # beside reference = "gauge"
    ("suction_pressure", 'unit = "degC"\nrefrigerant = "R404A"\n-reference', 'unit = "degC"\n-reference'),
    ("oil_pressure", 'reference = "difference"', 'reference = "sealed"'),
    ("suction_pressure", 'reference = "vacuum"', 'reference = "difference"'),
]


@pytest.mark.parametrize(("section", "taken", "refused"), ENDS, ids=[f"{s} {t}" for s, t, _ in ENDS])
def test_a_key_is_taken_to_the_end_of_its_range_and_no_further(
    section: str, taken: str, refused: str, tmp_path: Path
) -> None:
    """Catches a bound at its wrong side: the last good profile refused, or the first bad one read."""
    read(tmp_path, profile_with(**{section: taken}))
    with pytest.raises(Refusal):
        read(tmp_path, profile_with(**{section: refused}))


REFUSED = [
    ({"running": 'current_above = "12 A"\nspeed_above = "200 rpm"'}, "two thresholds"),
    ({"running": 'current_above = "12 A"\nspeed_below = "200 rpm"'}, "speed_below is the level below which it stands"),
    ({"running": 'current_below = "12 A"'}, "current_below is the level below which it stands"),
    ({"running": 'current_above = "12 A"\nmean_above = 0.5'}, "a mean and a threshold"),
    ({"running": 'current_above = "12 A"\non = ["1"]'}, "words and a threshold"),
    ({"running": 'unit = "A"'}, "a status has no unit"),
    ({"running": 'current_above = "12 A"\nunit = "rpm"'}, r"\[running\] unit"),
    ({"running": "-column"}, r"\[running\] column: missing key"),
    ({"oil_pressure": "-column"}, r"\[oil_pressure\] column: missing key"),
    ({"suction_pressure": 'constant = "1 bar(g)"'}, "beside a column"),
    ({"time": "on_change = true"}, r"\[time\] longest_hold: on_change without it"),
    ({"oil_pressure": "on_change = true"}, r"\[oil_pressure\] longest_hold: on_change without it"),
    ({"oil_pressure": 'quality = "q"'}, r"\[quality\] good: missing key: oil_pressure has a quality"),
    ({"time": 'ticks = "speed"'}, r"\[time\] ticks: no section for this signal"),
    ({"trace": 'machine_column = "m"', 'machines."1"': 'oil_pressure = "o"'}, "beside"),
    ({'machines."1"': 'speed = "n"'}, r"named for machine 1, and there is no section \[speed\]"),
]


@pytest.mark.parametrize(("lines", "said"), REFUSED, ids=[said for _, said in REFUSED])
def test_what_contradicts_itself_is_refused_by_its_key(lines: dict[str, str], said: str, tmp_path: Path) -> None:
    """Catches one of two statements that is dropped without a word."""
    with pytest.raises(Refusal, match=said):
        read(tmp_path, profile_with(**lines))


def test_levels_are_taken_with_their_kind(tmp_path: Path) -> None:
    """Catches a lower level that is lost or exchanged, and a speed taken for a current."""
    running = read(tmp_path, profile_with(running='current_above = "12 A"\ncurrent_below = "8000 mA"')).flags["running"]
    assert (running.kind, running.above, running.below) == ("current", 12.0, 8.0)
    alone = read(tmp_path, profile_with(running='speed_above = "2 rps"')).flags["running"]
    assert (alone.kind, alone.above, alone.below) == ("speed", 120.0, 120.0)
    words = read(tmp_path).flags["running"]
    assert (words.kind, words.above, words.below) == ("", 0.0, 0.0)


def test_a_speed_that_is_a_channel_needs_its_column_once(tmp_path: Path) -> None:
    """Catches a threshold of another column than the speed's own, and a stated one that gives way to it."""
    speed = 'column = "n"\nunit = "Hz"'
    lent = read(tmp_path, profile_with(speed=speed, running='-column\nspeed_above = "200 rpm"')).flags["running"]
    own = read(tmp_path, profile_with(speed=speed, running='column = "m"\nspeed_above = "200 rpm"')).flags["running"]

    assert ((lent.column, lent.unit), (own.column, own.unit)) == (("n", "Hz"), ("m", None))


SLOW = 'on_change = true\nlongest_hold = "20 s"'
EVERY = 'on_change = true\nlongest_hold = "1 min"'


@pytest.mark.parametrize(
    ("lines", "holds", "vouched"),
    [
        ({}, {}, 0),
        ({"time": EVERY}, {"oil_pressure": 60_000, "suction_pressure": 60_000}, 60_000),
        ({"oil_pressure": SLOW}, {"oil_pressure": 20_000}, 0),  # the other is not written on change
        ({"oil_pressure": SLOW, "suction_pressure": SLOW.replace("20", "30")}, {"oil_pressure": 20_000, "suction_pressure": 30_000}, 20_000),
        ({"time": EVERY, "oil_pressure": SLOW}, {"oil_pressure": 20_000, "suction_pressure": 60_000}, 20_000),
        ({"oil_pressure": 'longest_hold = "20 s"'}, {"oil_pressure": 20_000}, 0),
        ({"long": 'tag = "tag"\nvalue = "value"'}, {"oil_pressure": 5000, "suction_pressure": 5000}, 0),
        ({"time": EVERY, "suction_pressure": 'constant = "1 bar(g)"\n-column\n-unit\n-reference'}, {"oil_pressure": 60_000}, 60_000),
    ],
)  # fmt: skip
def test_readings_hold_as_long_as_the_profile_says(
    lines: dict[str, str], holds: dict[str, int], vouched: int, tmp_path: Path
) -> None:
    """Catches a stuck sensor that is excused for longer than its own hold, or since another signal is written on change."""
    profile = read(tmp_path, profile_with(**lines))

    assert profile.holds == holds
    assert profile.vouched_ms == vouched


def test_a_machine_of_several_has_its_own_columns_and_what_is_shared(tmp_path: Path) -> None:
    """Catches the columns of the first machine taken for the second."""
    text = profile_with(oil_pressure="-column", suction_pressure='column = "rack"', running="-column")
    text += (
        '\n[machines."1"]\noil_pressure = "o1"\nrunning = "r1"\n[machines."2"]\noil_pressure = "o2"\nrunning = "r2"\n'
    )
    second = read(tmp_path, text).of_machine("2")

    assert second.columns == {"oil_pressure": "o2", "suction_pressure": "rack", "running": "r2"}
    assert (second.texts["machine"], second.machines) == ("2", {})
    assert second.names == {"t", "o2", "rack", "r2"}


def test_quality_is_that_of_the_signal_or_of_the_row(tmp_path: Path) -> None:
    """Catches the mark of the row in place of the signal's own, and a constant that is asked for a mark."""
    profile = read(
        tmp_path,
        profile_with(
            quality='column = "q"\ngood = ["Good"]',
            oil_pressure='quality = "qo"',
            suction_pressure='constant = "1 bar(g)"\n-column\n-unit\n-reference',
        ),
    )

    assert profile.qualities == {"oil_pressure": "qo", "running": "q"}
    assert set(profile.measured) == {"oil_pressure"}
    assert profile.kinds == {"oil_pressure": "pressure"}
    assert (profile.of_file("running"), profile.of_file("suction_pressure")) == (True, False)
