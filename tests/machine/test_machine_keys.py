"""Every key of a machine file wrong in turn is refused by name, and the file that explains itself is read as it stands."""

import re

import pytest
import tomli
import tomlkit

from replay.ground.refusal import Refusal
from replay.ground.shape import UnfitError
from replay.machine import machine_from
from replay.machine.duty import DUTY, FAULTS, HAPPENS
from replay.machine.keys import FIGURES, ORIGIN, ROWS, SECTIONS, WORDS
from replay.machine.template import machine_template
from replay.physics.befalling import PER_YEAR
from tests.support.machines import SMALL, machine, text_of

WRONG_WORDS = {
    "name": [7, "", "two\nlines"],
    "compressor.cylinders": ["four", 0, 17, 2.5],
    "compressor.unloading": [0.5, [1.0], ["half"], [0.0]],
    "compressor.reversible_pump": ["no", 1],
    "oil.kind": ["olive", 7],
    "oil.viscosity_points": [["68 mm2/s"], [["40 C", "8 mm2/s"], ["100 C", "68 mm2/s"]], [["40 C", "68 mm2/s"], ["45 C", "60 mm2/s"]]],
    "oil.behaviour": ["lively", True],
    "refrigerant.name": ["R12", "water", 134],
    "solubility.pair": ["PEC7", 1],
    "solubility.points": [[], [["40 C", "300 kPa"]], [["40 C", "300 kPa", 0.9], ["50 C", "300 kPa", 0.1]], [["40 C", 300, 0.1], ["50 C", "1 bar", 0.1]]],
    "site.neighbours": ["yes", 0],
    "sensors.oil_range": ["0 kPa", ["0 kPa"], ["1600 kPa", "0 kPa"], [0, 1600], ["0 kPa", "1600 seconds"]],
    "sensors.suction_range": [["0 kPa", "0 kPa"], ["-30 psig", "10 bar"]],
    "sensors.crankcase": ["maybe"],
    "duty.control": ["by hand", 1],
    "duty.cycle_s": ["20 min", ["1 min", "60 min"], ["60 min", "20 min"], [20, 60]],
    "duty.room_least_c": [-31.0, "10 C"],
    "duty.defrosts_per_day": [-1, 25, 2.5],
    "duty.defrost_minutes_apart": [10.0, "6 h"],
    "duty.neighbours": [-1, 1.5],
    "duty.standstill_h": [["8 h"], ["60 h", "8 h"], [8, 60]],
    "duty.heater": ["yes"],
    "duty.callout_h": [4, "soon"],
    "duty.repair_h": [72, "4 kPa"],
}  # fmt: skip
MADE_SO = {"duty.": [-0.1, 1e4, "some", True], "faults.": [-0.1, 1001.0, "often", True]}  # plain numbers
WRONG_WORDS |= {row.path: MADE_SO[f"{row.section}."] for row in (*DUTY, *FAULTS) if row.path not in WRONG_WORDS}


def wrong_figures(path: str) -> list[object]:
    """Return values that no figure may have: no unit, another kind, below, above, falling, three."""
    row = FIGURES[path]
    low, high = (tomli.loads("x = " + row.kind.write(one))["x"] for one in (row.least, row.most))
    span = row.most - row.least
    beyond = [tomli.loads("x = " + row.kind.write(one))["x"] for one in (row.least - 0.1 * span, row.most + 0.1 * span)]
    return ["seven", "7 parsecs", True, [low, high, high], [high, low], [], *beyond, {"a": 1}]


@pytest.mark.slow("tries a wrong value of every key")
@pytest.mark.parametrize("path", [*FIGURES, *WRONG_WORDS])
def test_a_wrong_value_is_refused_by_the_name_of_its_key(path: str) -> None:
    """Catches a value taken as something else, a bare number given a unit, a refusal that names another key."""
    section, _, key = path.rpartition(".")
    for value in WRONG_WORDS.get(path) or wrong_figures(path):
        text = text_of(SMALL, **({f"{section}__{key}": value} if section else {}))
        if not section:
            text = text.replace('name = "made"', tomlkit.dumps({"name": value}).strip(), 1)
        with pytest.raises(Refusal, match=re.escape(key)) as refused:
            machine_from("machine.toml", text)

        assert str(refused.value).startswith("machine.toml: ")
        assert "accepted" in str(refused.value)


def test_every_word_is_tried() -> None:
    """Catches a new key that no wrong value is tried on."""
    assert WRONG_WORDS.keys() == WORDS.keys()


@pytest.mark.parametrize("path", [row.path for row in ROWS if row.needed and row.section])
def test_a_key_that_is_needed_is_asked_for(path: str) -> None:
    """Catches a default where there is none, and a traceback where there was one."""
    section, _, key = path.partition(".")

    with pytest.raises(Refusal, match=key):
        machine(SMALL, **{f"{section}__{key}": None})


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"compresor__bore": "70 mm"}, "compresor"),
        ({"compressor__bores": "70 mm"}, "bores"),
        ({"behaviour__capilary_pa": 1e4}, "capilary_pa"),
        ({"origin__published": ["compressor.size"]}, "published"),
    ],
)
def test_an_unknown_name_is_refused(changed: dict[str, object], named: str) -> None:
    """Catches a key that is passed over because it is spelt wrongly."""
    with pytest.raises(Refusal, match=named):
        machine(SMALL, **changed)


def test_the_new_file_is_read_and_every_key_of_it_too_once_its_mark_is_gone() -> None:
    """Each commented line made a real one in turn; catches an example that is refused, and a key that is not explained."""
    text = machine_template()
    machine_from("new.toml", text)
    lines = text.splitlines()
    told = {
        (section, match[1]) for section, line in _in_sections(lines) if (match := re.match(r"(?:# )?([\w-]+) = ", line))
    }

    assert {(row.section, row.key) for row in ROWS} | {(ORIGIN, "published"), (ORIGIN, "assumed")} == told
    alone = {
        "bore",
        "stroke",
        "cylinders",
        "journal_length",
        "points",
        "pair",
        "foam_share",
    }  # contradict the rest, or want more
    for number, line in enumerate(lines):
        if (match := re.match(r"# ([\w-]+) = ", line)) and match[1] not in alone:
            machine_from("new.toml", "\n".join([*lines[:number], line[2:], *lines[number + 1 :]]))


def _in_sections(lines: list[str]) -> list[tuple[str, str]]:
    section, found = "", []
    for line in lines:
        if line.startswith("["):
            section = line.strip("[]")
        found.append((section, line))
    return found


def test_each_fault_says_what_it_is_and_no_range_has_equal_ends() -> None:
    """Catches rates of faults that nobody can tell apart, and `0.3 to 0.3` for a plain 0.3."""
    text = " ".join(line.removeprefix("# ") for line in machine_template().splitlines())
    faults = text.partition("[faults]")[2].partition("[origin]")[0]

    told = "the drive of the oil pump breaks: times a year; if left out: 0.005; 0 to 1000 pump-drive-broken = 0.005"
    assert told in faults
    assert len(re.findall(r"[^=]{20,}: times a year; if left out: ", faults)) == faults.count(" = ")
    assert len(set(HAPPENS.values())) == len(HAPPENS) == len(PER_YEAR)
    assert not re.search(r'left out: (\S+) to \1(?!\S)|left out: ("[^"]+") to \2', text)


def test_every_section_is_explained() -> None:
    """Catches a section that the template forgets."""
    assert {row.section for row in ROWS} | {ORIGIN} == set(SECTIONS)


@pytest.mark.parametrize(
    ("given", "path", "low", "high"),
    [
        ("70 mm", "compressor.bore", 0.07, 0.07),
        ('["2.75 in", "70 mm"]', "compressor.bore", 0.06985, 0.07),
        ("1.5 m3/min", "compressor.displacement", 0.025, 0.025),
        ("20 psi", "compressor.healthy_net_pressure", 137895.0, 137895.0),
        ("14 F", "site.evaporating", -10.0, -10.0),
        ("263.15 K", "site.evaporating", -10.0, -10.0),
        ("68 cSt", "oil.viscosity_40", 68.0, 68.0),
        ("1.6 gal/min", "compressor.oil_pump_sweep", 1.00944e-4, 1.00944e-4),
    ],
)
def test_figures_are_read_in_the_units_of_the_trade(given: str, path: str, low: float, high: float) -> None:
    """By hand; catches inches for metres, a temperature difference for a temperature, a flow an hour for one a minute."""
    value = tomli.loads(f"x = {given}")["x"] if given.startswith("[") else given

    assert FIGURES[path].read(value) == pytest.approx((low, high), rel=1e-5)


@pytest.mark.parametrize("path", FIGURES)
def test_what_is_written_of_a_figure_reads_as_it_was(path: str) -> None:
    """Catches a unit that is written and not read, and ends that a reader of a refusal would be refused by."""
    row = FIGURES[path]
    for value in (row.least, row.most, row.least + 0.375 * (row.most - row.least)):
        told = tomli.loads("x = " + row.kind.write(value))["x"]
        assert row.kind.read(told) == pytest.approx(value, rel=1e-3, abs=1e-9)
    low, high = (tomli.loads("x = " + row.kind.write(end))["x"] for end in (row.least, row.most))
    assert row.read([low, high]) == pytest.approx((row.least, row.most), rel=1e-3, abs=1e-9)
    assert row.read(low) == row.read([low, low])


@pytest.mark.parametrize(
    ("path", "text", "value"),
    [
        ("compressor.bore", "70 mm", 0.070),
        ("compressor.oil_charge", "40 l", 0.040),
        ("compressor.displacement", "198 m3/h", 0.055),
        ("compressor.oil_pump_sweep", "12 l/min", 2e-4),
        ("compressor.rated_speed", "1450 rpm", 1450.0),
        ("oil.density", "0.945 g/cm3", 945.0),
        ("oil.release_time", "5 min", 300.0),
        ("sensors.noise", "0.3 kPa", 300.0),
        ("site.altitude", "1000 ft", 304.8),
        ("compressor.displacement", "30 cfm", 30 * 0.3048**3 / 60),
        ("compressor.displacement", "1800 CFH", 30 * 0.3048**3 / 60),
        ("compressor.displacement", "30 ft3/min", 30 * 0.3048**3 / 60),
        ("compressor.crankcase_volume", "0.5 ft3", 0.5 * 0.3048**3),
        ("compressor.oil_charge", "200 in3", 200 * 0.0254**3),
        ("compressor.oil_charge", "8 pt", 231 * 0.0254**3),
        ("compressor.oil_pump_sweep", "1.2 GPM", 1.2 * 231 * 0.0254**3 / 60),
        ("oil.density", "59 lb/ft3", 59 * 0.45359237 / 0.3048**3),
    ],
)
def test_a_figure_is_read_into_the_unit_used_inside(path: str, text: str, value: float) -> None:
    """By hand, a US gallon of 231 cubic inches; catches a factor of a thousand, an hour or a minute, and feet refused."""
    assert FIGURES[path].read(text) == pytest.approx((value, value))


@pytest.mark.parametrize(
    ("path", "admitted"),
    [
        ("compressor.cylinders", [1, 16]),
        ("compressor.unloading", [[], [0.05], [0.95, 0.5]]),
        ("oil.viscosity_points", [[["-40 C", "900 mm2/s"], ["-20 C", "600 mm2/s"]], [["40 C", "68 mm2/s"], ["150 C", "2.01 mm2/s"]]]),
        ("solubility.points", [[["-40 C", "1 kPa", 0.002], ["100 C", "5 bar", 0.45]], [["40 C", "1 bar", 0.1]] * 1000]),
    ],
)  # fmt: skip
def test_words_are_admitted_to_the_ends_of_what_they_may_be(path: str, admitted: list[object]) -> None:
    """Catches a bound that shuts out what the file says it takes."""
    for value in admitted:
        WORDS[path].read(value)


@pytest.mark.parametrize(
    ("path", "refused"),
    [
        ("oil.viscosity_points", [[["-41 C", "900 mm2/s"], ["0 C", "600 mm2/s"]], [["40 C", "68 mm2/s"], ["151 C", "3 mm2/s"]],
                                  [["40 C", "68 mm2/s"], ["59.9 C", "30 mm2/s"]], [["40 C", "68 mm2/s"], ["100 C", "2 mm2/s"]],
                                  [["40 C", "8 mm2/s"], ["100 C", "8 mm2/s"]], [["40 C", "68 mm2/s"]] * 3]),
        ("solubility.points", [[["-41 C", "1 bar", 0.1]] * 2, [["101 C", "1 bar", 0.1]] * 2, [["40 C", "0.9 kPa", 0.1]] * 2,
                               [["40 C", "1 bar", 0.0019]] * 2, [["40 C", "1 bar", 0.451]] * 2, [["40 C", "1 bar", 0.1]] * 1001,
                               [["40 C", "1 bar"]] * 2]),
    ],
)  # fmt: skip
def test_points_beyond_what_is_known_are_refused(path: str, refused: list[object]) -> None:
    """Catches a temperature, a pressure or a share just outside, two points too near each other, and one too many."""
    for value in refused:
        with pytest.raises(UnfitError):
            WORDS[path].read(value)
