"""Libraries of a user's machine: same file, same bytes; the file kept beside them; what does not suit refused by name."""

import itertools
import textwrap
from pathlib import Path

import pytest
import tomli

import replay
from replay.ground.refusal import Refusal
from replay.library import read_library
from replay.library.demo import demo_folder
from replay.machine import machine_from, read_machine
from replay.machine.check import check_machine
from replay.machine.keys import REFRIGERANTS
from replay.settings import read_settings
from replay.synth import recipe, run_closed_loop, synthesise
from replay.tuning.fresh import on_fresh_library, recipe_of
from tests.support.command import lubetrip
from tests.support.machines import SMALL, machine, text_of

pytestmark = pytest.mark.slow("simulates, scores or draws many traces")

FEW = "pump-drive-broken,normal-start"


@pytest.fixture
def file(tmp_path):
    """Return a machine file on the disk."""
    path = tmp_path / "mine.toml"
    path.write_text(text_of(SMALL, oil__behaviour="still"), encoding="utf-8")
    return path


def test_same_file_same_bytes_and_another_file_other_ones(tmp_path, file):
    """With one worker and with two; catches a draw that hangs on who works, and a machine that changes nothing."""
    for folder, jobs in (("one", 1), ("two", 2)):
        assert synthesise(tmp_path / folder, recipe(FEW, 2, 5, machine=file), jobs=jobs)
    other = tmp_path / "other.toml"
    other.write_text(file.read_text() + "[behaviour]\nleakage_share = 0.5\n", encoding="utf-8")
    synthesise(tmp_path / "third", recipe(FEW, 2, 5, machine=other))
    names = sorted(path.relative_to(tmp_path / "one") for path in (tmp_path / "one").rglob("*") if path.is_file())

    assert len(names) == 4
    for name in names:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
    assert (tmp_path / "one" / names[-1]).read_bytes() != (tmp_path / "third" / names[-1]).read_bytes()


def test_the_library_says_what_it_rests_on(tmp_path, file):
    """Catches an assumed figure that no product names, a digest of something else, a copy that is not the file."""
    synthesise(tmp_path / "made", recipe(FEW, 2, 5, machine=file))
    text = (tmp_path / "made" / "library.toml").read_text(encoding="utf-8")
    table, described = tomli.loads(text), read_machine(file)

    assert table["recipe"]["machine_digest"] == described.digest
    assert (tmp_path / "made" / "machine.toml").read_text(encoding="utf-8") == described.text
    for entry in table["trace"]:
        assert entry["machine"] == "made"
        assert f"machine file {described.digest[:12]}" in entry["origin"]
        assert "clearance" in entry["origin"].partition("assumed: ")[2]
    assert "Left out: foaming-oil-lost: the oil is still" in text
    assert len(read_library(tmp_path / "made").entries) == 2


def test_a_changed_copy_is_refused(tmp_path, file):
    """By whoever goes on from the recipe; catches a fresh library of another machine than was tuned on."""
    folder = tmp_path / "made"
    synthesise(folder, recipe(FEW, 2, 5, machine=file))
    copy = folder / "machine.toml"
    copy.write_text(copy.read_text() + "# changed\n", encoding="utf-8")

    with pytest.raises(Refusal, match="not the machine file that the library was made from"):
        recipe_of(read_library(folder))
    with pytest.raises(Refusal, match="not the machine file"):
        synthesise(folder, recipe(FEW, 2, 5, machine=file))


def test_a_folder_of_another_recipe_is_refused(tmp_path, file):
    """Catches a library of the invented machines that is taken for one of the user's."""
    synthesise(tmp_path / "made", recipe(FEW, 2, 5))

    with pytest.raises(Refusal, match="another recipe"):
        synthesise(tmp_path / "made", recipe(FEW, 2, 5, machine=file))


def test_a_family_that_does_not_suit_is_refused_by_name_and_left_out_of_all(file):
    """Catches a family that runs an oil the machine does not have."""
    with pytest.raises(Refusal, match="the oil is still"):
        recipe("foaming-oil-lost", 1, 1, machine=file)

    every = recipe("all", 1, 1, machine=file).families
    assert "foaming-oil-lost" not in every
    assert "suction-valve-shut" in every


def test_a_fresh_library_and_a_closed_loop_are_of_the_same_machine(tmp_path, file):
    """Catches a tuning that is confirmed on invented machines, and a closed loop that runs them."""
    folder = tmp_path / "made"
    wanted = recipe(FEW, 2, 5, machine=file)
    synthesise(folder, wanted)
    again = recipe_of(read_library(folder))
    settings = read_settings(demo_folder() / "settings.toml")

    assert again is not None
    assert again.machine is not None
    assert again.machine.digest == read_machine(file).digest
    assert on_fresh_library(again, [settings], lambda: None).traces == 2
    own, invented = (run_closed_loop(one, settings).as_json()["machines"] for one in (wanted, recipe(FEW, 2, 5)))
    assert own != invented


def test_the_command_writes_checks_and_synthesises(tmp_path):
    """From nothing to a library in three commands; catches options that are not handed on, and a file overwritten."""
    file = tmp_path / "machine.toml"

    assert lubetrip("machine", "new", file).returncode == 0
    again = lubetrip("machine", "new", file)
    assert (again.returncode, "already exists" in again.stderr) == (2, True)
    checked = lubetrip("machine", "check", file, "--settings", demo_folder() / "settings.toml")
    assert checked.returncode == 0, checked.stderr
    assert "floor pressure" in checked.stdout
    made = lubetrip("synth", tmp_path / "made", "--machine", file, "--families", FEW, "--count", 2, "--seed", 1)
    assert (made.returncode, "2 traces" in made.stdout) == (0, True), made.stderr


def test_the_guide_says_what_is_so():
    """Its file is read, with what it adds; catches a guide whose example is refused, or that lists other refrigerants."""
    guide = (Path(replay.__file__).parent / "guides" / "machine.md").read_text(encoding="utf-8")
    smallest, origin = (
        "\n".join(
            itertools.takewhile(
                lambda line: not line or line.startswith("    "), guide[guide.index(begin) :].splitlines()
            )
        )
        for begin in ("    name = ", "    [origin]")
    )
    described = machine_from("guide", textwrap.dedent(smallest + "\n" + origin))

    assert described.status("compressor.clearance") == "assumed"
    assert described.status("compressor.displacement") == "published"
    assert ", ".join(REFRIGERANTS[:-1]) + f" and {REFRIGERANTS[-1]}, tabulated" in guide


def settings_with(tmp_path, **changed):
    """Return the demo settings with keys set to other values."""
    text = (demo_folder() / "settings.toml").read_text(encoding="utf-8")
    lines = []
    for line in text.splitlines():
        key = line.partition("=")[0].strip()
        lines.append(f"{key} = {changed[key]}" if key in changed else line)
    path = tmp_path / "settings.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    return read_settings(path)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"cut_out": '"2 psi"', "floor": '"1 psi"', "rest_most": '"8 kPa"'}, "cut_out floor"),
        ({"floor": '"0.5 psi"'}, "floor"),
        ({"cut_in": '"19 psi"'}, "cut_in"),
        ({"reload": '"25 psig"'}, "reload"),
        ({"oil_range": '["-20 kPa abs", "300 kPa abs"]'}, "oil_range"),
        ({"suction_range": '["-20 kPa abs", "250 kPa abs"]'}, "suction_range"),
        ({"max_gap": '"900 ms"'}, "max_gap"),
        ({"rest_most": '"5 kPa"'}, "rest_most"),
    ],
)
def test_settings_that_cannot_be_meant_for_the_machine_are_told(tmp_path, changed, words):
    """And nothing is told of the demo's own; catches a cut-out under the floor pressure that passes in silence."""
    described = machine(SMALL, compressor__drilling_outlet="30 mm")

    assert check_machine(described, settings_with(tmp_path)).contradictions == ()
    found = check_machine(described, settings_with(tmp_path, **changed)).contradictions
    assert [line.split()[0] for line in found] == words.split()


def test_an_oil_sensor_that_ends_below_standing_pressure_is_told(tmp_path):
    """Catches a range that holds oil pressure in running, and is passed at every standstill: suction plus net is less."""
    described = machine(SMALL, site__standing_ratio=4.5)
    highest = max(site.suction_pa + site.behaviour.healthy_net_pa for site in described.ends())
    narrow = f'["-20 kPa abs", "{highest / 1000 + 30:.0f} kPa abs"]'
    found = check_machine(described, settings_with(tmp_path, oil_range=narrow)).contradictions

    assert [line.split()[0] for line in found] == ["oil_range"]


def test_settings_of_another_altitude_are_told(tmp_path):
    """Catches the demo site's altitude left in the settings of a machine in the mountains: 0 psig is 2.5 psi off there."""
    stated = {high: machine(SMALL, site__altitude=high) for high in ("100 m", "5280 ft")}
    found = {high: check_machine(one, settings_with(tmp_path)).contradictions for high, one in stated.items()}
    unstated = machine(SMALL)

    assert found["100 m"] == check_machine(unstated, settings_with(tmp_path, altitude='"4000 m"')).contradictions == ()
    assert found["5280 ft"][0].startswith("altitude 40 m, where the machine stands at 1609 m")
    assert "off by 2.5 psi" in found["5280 ft"][0]


def test_derived_figures_by_hand():
    """All stated: floor rho w^2 (r2^2 - r1^2)/2 and vacuum p_d (1 + 1/c)^-k; catches a unit slipped on the way in."""
    described = machine(
        SMALL,
        compressor__drilling_outlet="25 mm",
        compressor__drilling_inlet="5 mm",
        compressor__speed="1750 rpm",
        compressor__clearance=0.04,
        oil__density="950 kg/m3",
        site__condensing="35 C",
    )
    derived = {one.name: one for one in check_machine(described).derived}
    omega = 1750.0 * 2.0 * 3.141592653589793 / 60.0

    assert derived["floor pressure"].middle == pytest.approx(950.0 * omega**2 * (0.025**2 - 0.005**2) / 2.0, rel=1e-6)
    assert derived["limiting vacuum"].middle == pytest.approx(886.98e3 * 26.0**-1.09062, rel=2e-3)
    assert derived["floor pressure"].low == derived["floor pressure"].high
