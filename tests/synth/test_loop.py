"""The compiled closed loop: the plain loop's decisions bit for bit, and long steps that change none of them."""

from pathlib import Path

import numpy as np
import pytest

from replay.engine.obeying import RUN_MS
from replay.physics import layout as at
from replay.physics.families import case_of
from replay.settings import Settings, read_settings
from replay.synth.loop import (
    BLOCK,
    LOCKOUTS,
    LONG,
    LONG_TAKEN,
    NEVER_MS,
    RESTARTS,
    Running,
    splitmix,
)
from tests.support.plain_loop import obey

pytestmark = pytest.mark.slow("compiles plant, sensors and logic in one loop")

FIXTURES = Path(__file__).parents[2] / "fixtures"
DRAWN = (
    "pump-drive-broken",
    "foaming-oil-recovers",
    "liquid-solenoid-stuck",
    "oil-sensor-loop-fails",
    "power-dip",
    "short-dropouts",
    "oil-sensor-stuck",
    "repeated-starved-spells",
)


@pytest.fixture(scope="module")
def settings() -> Settings:
    """Return the settings of the demo site."""
    return read_settings(FIXTURES / "settings.toml")


def stops_of(machine: Running, until_ms: int = NEVER_MS) -> list[int]:
    """Run a machine on and return when it was stopped, ms."""
    stops = []
    while not machine.run(until_ms):
        stops.append(machine.last_tick_ms)
    return stops


@pytest.mark.parametrize("family", DRAWN)
def test_the_compiled_loop_decides_as_the_plain_one(family: str, settings: Settings) -> None:
    """Catches a sample, a draw, a word of the logic or a bit of the plant that differs from the plain loop's."""
    for index in (0, 1):
        case = case_of(family, index, 5)
        logic, plant, least, restarts = obey(case, settings)
        machine = Running(case, settings)
        stops = stops_of(machine)

        assert stops == [stop.time_ms for stop in logic.stops]
        assert machine.memory.tolist() == logic.memory
        assert machine.state.tobytes() == plant.state.tobytes()
        assert (machine.least[0], machine.counts[RESTARTS]) == (least, restarts)
        assert (machine.carry[RUN_MS], bool(machine.counts[LOCKOUTS])) == (logic.run_ms, logic.locked_out)


@pytest.mark.parametrize("family", ["pump-drive-broken", "suction-valve-shut", "foaming-oil-recovers", "power-dip"])
def test_long_steps_change_no_decision(family: str, settings: Settings) -> None:
    """Catches a long step over a stretch in which something happens: other stops, or another fate of the bearings.

    One sample is what integration may move.
    """
    for index in range(6):
        case = case_of(family, index, 7, hours=2.0)
        if Running(case, settings, 41, long_steps=True).counts[LONG] == 0:
            continue
        fine, long = Running(case, settings, 41), Running(case, settings, 41, long_steps=True)
        expected, found = stops_of(fine, int(case.duration_s * 1000)), stops_of(long, int(case.duration_s * 1000))

        assert len(found) == len(expected)
        assert np.allclose(found, expected, atol=case.chain.period_ms)
        assert long.damage.certainty == fine.damage.certainty
        assert long.counts[LONG_TAKEN] * 5.0 > 0.2 * case.duration_s or found
        assert long.state[at.S_DISSOLVED_KG] == pytest.approx(fine.state[at.S_DISSOLVED_KG], rel=5e-3)
        assert long.state[at.S_TEMPERATURE_K] == pytest.approx(fine.state[at.S_TEMPERATURE_K], abs=0.2)


def test_a_copy_goes_its_own_way(settings: Settings) -> None:
    """Catches a copy that shares an array with the machine it was taken of, and one that is not where that was."""
    case = case_of("unloader-steps", 0, 7, hours=1.0)
    one, whole = Running(case, settings, 41, long_steps=True), Running(case, settings, 41, long_steps=True)
    whole.run(3_000_000)
    one.run(1_000_000)
    other = one.copy()
    one.run(2_000_000)
    other.run(3_000_000)
    one.run(3_000_000)

    assert other.memory.tolist() == one.memory.tolist() == whole.memory.tolist()
    assert np.allclose(other.state, whole.state, rtol=1e-3, atol=1e-6)


def test_draws_are_those_of_the_published_generator() -> None:
    """Catches a slip in the constants or shifts of SplitMix64: its first words for seed 0, as printed with it.

    From memory of the authors' test output: e220a8397b1dcdaf, 6e789e6aa1b965f4.
    """
    with np.errstate(over="ignore"):  # words of 64 bits wrap
        first = [splitmix(np.uint64(0), number) for number in (0, 1)]

    assert first == [(0xE220A8397B1DCDAF >> 11) / 2**53, (0x6E789E6AA1B965F4 >> 11) / 2**53]


def test_compiled_draws_are_even(settings: Settings) -> None:
    """Catches noise with another spread than that of the traces, or channels that share it."""
    machine = Running(case_of("power-dip", 0, 7), settings, 9)
    machine.run(BLOCK * 200)
    _, noise, chance = machine._blocks  # noqa: SLF001 - what only the loop sees

    assert noise.std() == pytest.approx(1.0, abs=0.05)
    assert abs(np.corrcoef(noise[0], noise[1])[0, 1]) < 0.15
    assert chance.mean() == pytest.approx(0.5, abs=0.03)
