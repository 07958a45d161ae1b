"""The settings file: read with units, checked as a whole, every refusal naming key, value, rule and remedy."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protect import ranges
from replay.ground.refusal import Refusal
from replay.ground.shown import SYSTEMS, Units, shown_in
from replay.ground.units import atmosphere_pa
from replay.settings import read_settings
from replay.settings.file import KEYS, PLACES, SECTIONS, accepted_values, as_integer
from tests.conftest import SETTINGS


def changed(old: str, new: str) -> str:
    """Return the settings with one line changed; the line must be there."""
    assert SETTINGS.count(old) == 1
    return SETTINGS.replace(old, new)


def read(folder: Path, text: str) -> dict[str, int]:
    """Read settings from text and return the values by name."""
    path = folder / "settings.toml"
    path.write_text(text, encoding="utf-8")
    return read_settings(path).as_json()["values"]


def test_values_become_integers_in_the_units_of_the_logic(settings_file: Path) -> None:
    """Catches a setting that lands in another's place, or a unit lost on the way; values restated by hand."""
    settings = read_settings(settings_file)

    assert settings.as_json()["values"] == {
        "cut_out": 60000,
        "cut_in": 80000,
        "floor": 30000,
        "trip_delay": 60000,
        "floor_weight": 4096,
        "vacuum_weight": 3072,
        "recovery": 2048,
        "stopped_recovery": 512,
        "vacuum": 80000,
        "reload": 100000,
        "reload_fraction": 1024,
        "start_grace": 10000,
        "restart_delay": 60000,
        "trips_to_lockout": 3,
        "trip_memory": 3600000,
        "oil_least": 0,
        "oil_most": 2000000,
        "suction_least": 0,
        "suction_most": 1600000,
        "max_gap": 3000,
        "stuck_after": 600000,
        "fault_delay": 10000,
        "rest_settle": 30000,
        "rest_most": 35000,
        "reset_hold": 1000,
        "resets_most": 3,
    }
    assert settings.values[ranges.SLOPE] == (2048 << 16) // 30000
    assert settings.values[ranges.RELOAD_LEVEL] == 30000
    assert settings.acceptance.min_margin_s == 30.0


def test_gauge_and_vacuum_count_from_the_atmosphere_of_the_site(tmp_path: Path) -> None:
    """Catches gauge values converted with the sea-level atmosphere at a high site (1500 m: 84559.7 Pa)."""
    text = changed('vacuum = "80 kPa abs"', 'vacuum = "5 inHg vac"').replace(
        'reload = "100 kPa abs"', 'reload = "0 psig"'
    )
    values = read(tmp_path, text.replace('"0 m"', '"1500 m"'))

    assert values["vacuum"] == round(84559.7 - 5 * 3386.389)
    assert values["reload"] == 84560


def test_every_setting_of_the_logic_has_a_key() -> None:
    """Catches a setting added to the table of ranges that no file can set."""
    keys = [key for section in KEYS.values() for key in section]
    settable = {
        n for key in keys for n in ([key[:-5] + "least", key[:-5] + "most"] if key.endswith("_range") else [key])
    }

    assert set(PLACES) <= settable


@pytest.mark.parametrize("section", SECTIONS)
def test_a_missing_key_is_refused_not_guessed(section: str, tmp_path: Path) -> None:
    """Catches a default that stands in silently for a forgotten setting."""
    for key in SECTIONS[section]:
        lines = [line for line in SETTINGS.splitlines() if not line.startswith(f"{key} =")]
        with pytest.raises(Refusal, match=rf"\[{section}\] {key}: missing key; accepted: "):
            read(tmp_path, "\n".join(lines))


BROKEN = [
    # what is changed, what it becomes, what the refusal has to say
    ('cut_out = "60 kPa"', "cut_out = 60", ["[net_oil_pressure] cut_out", "60", "unit is missing", "kPa"]),
    ('cut_out = "60 kPa"', 'cut_out = "60 kPag"', ["cut_out", '"60 kPag"', "difference"]),
    ('cut_out = "60 kPa"', 'cut_out = "60 kpsi g"', ["cut_out", "kpsi"]),
    ('cut_out = "60 kPa"', 'cut_out = "90 kPa"', ["cut_out", '"90 kPa"', "less than cut in", '"80 kPa"']),
    ('floor = "30 kPa"', 'floor = "60 kPa"', ["[net_oil_pressure] floor", "less than cut out", '"60 kPa"']),
    ('trip_delay = "60 s"', 'trip_delay = "31 min"', ["trip_delay", '"31 min"', "more than", '"30 min"']),
    ('trip_delay = "60 s"', 'trip_delay = "60 kPa"', ["trip_delay", "kPa", "not a unit of this kind"]),
    ("floor_weight = 2.0", "floor_weight = 9", ["floor_weight", "9", "more than", "1 to 8"]),
    ("floor_weight = 2.0", "floor_weight = 0.5", ["floor_weight", "0.5", "less than"]),
    ("floor_weight = 2.0", 'floor_weight = "2"', ["floor_weight", '"2"', "plain number"]),
    ("floor_weight = 2.0", "floor_weight = true", ["floor_weight", "true", "plain number"]),
    ("floor_weight = 2.0", "floor_weight = nan", ["floor_weight", "nan", "plain number"]),
    ("trips_to_lockout = 3", "trips_to_lockout = 2.5", ["trips_to_lockout", "2.5", "whole number"]),
    ("trips_to_lockout = 3", "trips_to_lockout = 0", ["trips_to_lockout", "0", "less than"]),
    ('reload = "100 kPa abs"', 'reload = "70 kPa abs"', ["[suction] vacuum", "not more than reload", '"70 kPa abs"']),
    (
        'vacuum = "80 kPa abs"',
        'vacuum = "5 inHg"',
        ["[suction] vacuum", '"5 inHg"', "not said", '"5 inHg vac"', "inHg abs"],
    ),
    (
        'reload = "100 kPa abs"',
        'reload = "-3 psi"',
        ["[suction] reload", '"-3 psi"', 'write "-3 psi abs" or "-3 psi gauge"'],
    ),
    ('suction_range = ["0 kPa abs"', 'suction_range = ["0 kPa"', ["[sensors] suction_range", '"0 kPa abs"']),
    ('cut_out = "60 kPa"', 'cut_out = "7 PSI"', ["cut_out", '"7 PSI"', 'did you mean "7 psi"?']),
    ('max_gap = "3 s"', 'max_gap = "6 min"', ["max_gap", '"6 min"', '"5 min"']),
    ('stuck_after = "10 min"', 'stuck_after = "2 s"', ["max_gap", "less than stuck after"]),
    ('oil_range = ["0 kPa abs", "2000 kPa abs"]', 'oil_range = "2000 kPa abs"', ["oil_range", "pair"]),
    ('oil_range = ["0 kPa abs", "2000 kPa abs"]', 'oil_range = ["2 MPa abs", "0 kPa abs"]', ["oil_range", "less than"]),
    ('altitude = "0 m"', 'altitude = "9000 m"', ["[site] altitude", '"9000 m"', "5000 m"]),
    ('altitude = "0 m"', "altitude = 12", ["altitude", "12", "unit"]),
    ("min_margin", "confidence = 95\nmin_margin", ["[acceptance] confidence", "95", "0.9999"]),
    ("max_missed = 0", "max_missed = 0.5", ["max_missed", "whole number"]),
    ('min_margin = "30 s"', 'min_margin = "-1 s"', ["min_margin", '"-1 s"', "negative"]),
    ("recovery = 1.0", "recovery = 1.0\nrecovry = 1", ["[integral] recovry", "unknown key", "recovery"]),
    ("[site]", "[sites]", ["[sites]", "unknown section", "[site]"]),
    ("[site]", "[site", ["not valid TOML", "line"]),
]


@pytest.mark.parametrize(("old", "new", "said"), BROKEN)
def test_broken_settings_are_refused_with_key_value_rule_and_remedy(
    old: str, new: str, said: list[str], tmp_path: Path
) -> None:
    """Catches a wrong value that is mapped to something weak, and a message that helps nobody."""
    text = SETTINGS.replace("\n" + old, "\n" + new)
    assert text != SETTINGS
    with pytest.raises(Refusal) as refused:
        read(tmp_path, text)

    for part in ["settings.toml", *said]:
        assert part in str(refused.value)


def test_what_a_refusal_accepts_is_accepted(tmp_path: Path) -> None:
    """Catches a message that recommends a bound which is refused in turn."""
    read(tmp_path, changed('trip_delay = "60 s"', 'trip_delay = "30 min"'))
    read(tmp_path, changed("floor_weight = 2.0", "floor_weight = 8"))
    read(tmp_path, changed('cut_out = "60 kPa"', 'cut_out = "79.999 kPa"'))


@given(st.floats(1.0, 8.0), st.integers(1, 1800000))
def test_weights_and_delays_keep_what_the_fixed_point_can_hold(weight: float, delay: int) -> None:
    """Catches truncation where rounding is meant, and seconds cut to whole ones."""
    from tempfile import TemporaryDirectory

    with TemporaryDirectory() as folder:
        text = changed("floor_weight = 2.0", f"floor_weight = {weight!r}")
        text = text.replace('trip_delay = "60 s"', f'trip_delay = "{max(delay, 1000)} ms"')
        values = read(Path(folder), text)

    assert abs(values["floor_weight"] / 2048 - weight) <= 0.5 / 2048
    assert values["trip_delay"] == max(delay, 1000)


def test_digest_follows_what_the_logic_runs_with_and_nothing_else(tmp_path: Path) -> None:
    """Catches a digest blind to a setting, and one that changes with a comment, a unit or the acceptance."""
    path = tmp_path / "settings.toml"

    def digest(text: str) -> str:
        path.write_text(text, encoding="utf-8")
        return read_settings(path).digest

    base = digest(SETTINGS)
    assert digest("# comment\n" + changed('trip_delay = "60 s"', 'trip_delay = "1 min"')) == base
    assert digest(changed("max_missed = 0", "max_missed = 5")) == base
    assert digest(changed('trip_delay = "60 s"', 'trip_delay = "61 s"')) != base
    assert digest(changed('fault_delay = "10 s"', 'fault_delay = "11 s"')) != base


def test_a_contradiction_is_told_in_the_words_of_the_file(tmp_path: Path) -> None:
    """Catches "20.684 kPa" in the answer to somebody who wrote 3 psi."""
    (tmp_path / "s.toml").write_text(SETTINGS.replace('"30 kPa"', '"4.5 psi"').replace('"60 kPa"', '"3 psi"'), "utf-8")
    with pytest.raises(Refusal, match=r'floor must be less than cut out \("3 psi"\); accepted: less than "3 psi" here'):
        read_settings(tmp_path / "s.toml")


@pytest.mark.parametrize("units", SYSTEMS.values(), ids=SYSTEMS)
@pytest.mark.parametrize(("section", "key"), [("net_oil_pressure", "cut_out"), ("suction", "vacuum")])
def test_the_admitted_range_is_told_in_the_units_asked_for(section: str, key: str, units: Units) -> None:
    """Catches kilopascals told to who asked for psi, and a bound that is rounded out of the range and refused."""
    with shown_in(units):
        told = accepted_values(section, key)
    _, least, _, most, *_ = told.split('"')
    _, _, low, high = ranges.SETTINGS[PLACES[key]]

    for text, bound in ((least, low), (most, high)):
        assert text.endswith(units.absolute if section == "suction" else units.difference)
        value = as_integer(section, "Pa", text, atmosphere_pa(0))
        assert low <= value <= high
        assert abs(value - bound) <= units.size_pa / 1000 + 1
