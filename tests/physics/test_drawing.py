"""What a trace is drawn from: each draw, the site and what may be wrong with its sensors, at the ends of their ranges."""

from dataclasses import replace

import pytest

from replay.physics import MACHINES, OILS, REFRIGERANTS, Sensor, SensorChain
from replay.physics.drawing import (
    ERRORS,
    Draw,
    Site,
    draw_chain,
    draw_sensor,
    invented_site,
    saturation_pa,
    with_errors,
)
from replay.physics.model import equilibrium_fraction
from replay.physics.tables import TEMPERATURES_K

R134A = REFRIGERANTS["R134a"]


class Given:
    """A generator that gives these in turn, the last for ever."""

    def __init__(self, *shares: float) -> None:
        """Give these shares."""
        self.shares = list(shares)

    def random(self) -> float:
        """Return the next."""
        return self.shares.pop(0) if len(self.shares) > 1 else self.shares[0]


def given(*shares: float) -> Draw:
    """Return draws that come out as these, in turn."""
    return Draw(Given(*shares))  # type: ignore[arg-type]


def test_each_kind_of_draw_by_hand() -> None:
    """Catches a range that is not reached, a logarithm left out, a choice that never falls and a chance the wrong way."""
    assert [given(x).between(2.0, 6.0) for x in (0.0, 0.25, 1.0)] == [2.0, 3.0, 6.0]
    assert [given(x).log_between(1.0, 100.0) for x in (0.0, 0.5, 1.0)] == pytest.approx([1.0, 10.0, 100.0])
    assert [given(x).one_of("abc") for x in (0.0, 0.33, 0.34, 0.66, 0.67, 0.999, 1.0)] == [*"aabbccc"]
    assert [given(x).happens(0.3) for x in (0.0, 0.29, 0.3, 1.0)] == [True, True, False, False]


def test_saturation_is_that_of_the_table_at_its_points_and_straight_over_1_by_t_between_and_beyond() -> None:
    """Catches a neighbouring row, a straight line over T, and an end that is not the table's own slope."""
    logs = R134A.log_saturation
    for place, kelvin in enumerate(TEMPERATURES_K):
        assert saturation_pa(R134A, kelvin - 273.15) == pytest.approx(2.718281828459045 ** logs[place], rel=1e-9)
    one, two = TEMPERATURES_K[3], TEMPERATURES_K[4]
    middle = 2.0 / (1.0 / one + 1.0 / two)
    assert saturation_pa(R134A, middle - 273.15) ** 2 == pytest.approx(
        saturation_pa(R134A, one - 273.15) * saturation_pa(R134A, two - 273.15), rel=1e-9
    )


def site(**changed: float) -> Site:
    """Return granite with thick still oil and R134a at a round design point."""
    chain = SensorChain()
    its = Site(MACHINES["granite"], OILS["still-68"], R134A, 1450.0, 250e3, 900e3, 450e3, 40.0, chain)
    return replace(its, **changed)  # type: ignore[arg-type]


def test_what_follows_from_a_site() -> None:
    """By hand: limits, room, and oil of its grade where nothing is dissolved; catches a share, a unit or a sum reversed."""
    its = site()
    held = equilibrium_fraction(its.oil, R134A, 40.0, 250e3)

    assert its.ambient_c == 15.0
    assert its.start.oil_temperature_c == 40.0
    assert its.dry_pump_limit_pa == pytest.approx(2.6e3 / 0.04)
    assert its.limiting_vacuum_pa == pytest.approx(900e3 / (1.0 + 1.0 / 0.035) ** R134A.isentropic_exponent)
    assert site(suction_pa=1e-3).oil_viscosity_pa_s == pytest.approx(68e-6 * 945.0, rel=1e-6)
    assert its.oil_viscosity_pa_s == pytest.approx(
        1e-6 * 945.0 * 68.0 ** (1.0 - held) * R134A.liquid_viscosity_mm2_s**held, rel=1e-9
    )
    rested = its.rested(30.0, 0.5)
    assert rested.oil_temperature_c == 30.0
    assert rested.dissolved_fraction == pytest.approx(0.5 * equilibrium_fraction(its.oil, R134A, 30.0, 450e3))
    plan = its.schedule(running=False)
    assert (plan.speed_rpm, plan.design_suction_pa, plan.discharge_pa) == (1450.0, 250e3, 900e3)
    assert (plan.load_pa, plan.ambient_c, plan.running) == (450e3, 15.0, False)
    assert its.with_oil_sensor(gain=1.1).chain == replace(its.chain, oil=replace(its.chain.oil, gain=1.1))


@pytest.mark.parametrize("share", [0.0, 0.3, 0.5, 0.8, 1.0])
def test_an_invented_site_lies_in_its_ranges_and_can_run(share: float) -> None:
    """Catches suction below 150 kPa, a head above 1200 kPa, a load beyond nine tenths of the head, and a room too hot."""
    its = invented_site(given(share))
    suction = max(saturation_pa(its.refrigerant, -20.0 + 18.0 * share), 150e3)
    seasons = [(17.0, 25.0, 30.0, 46.0), (20.0, 30.0, 36.0, 54.0), (20.0, 30.0, 36.0, 54.0), (27.0, 36.0, 46.0, 60.0)]
    from_c, to_c, oil_from_c, oil_to_c = seasons[min(int(4 * share), 3)]
    discharge = min(saturation_pa(its.refrigerant, from_c + share * (to_c - from_c)), 1200e3)

    assert its.suction_pa == pytest.approx(suction)
    assert its.discharge_pa == pytest.approx(discharge)
    assert its.load_pa == pytest.approx(min(suction * (1.5 + 0.6 * share), 0.9 * discharge))
    assert its.oil_temperature_c == pytest.approx(oil_from_c + share * (oil_to_c - oil_from_c))
    assert its.speed_rpm == pytest.approx(its.machine.rated_speed_rpm * (0.94 + 0.06 * share))


def test_the_floor_of_suction_and_the_cap_of_the_head_are_met() -> None:
    """R134a at -20 C has 133 kPa, R143a at 36 C over 1600; catches a bound that is the other of least and most."""
    assert invented_site(given(0.0, 0.0, 0.0, 0.0)).suction_pa == 150e3
    hot = invented_site(given(0.0, 0.0, 0.5, 0.99, 1.0))
    assert (hot.refrigerant.name, hot.discharge_pa) == ("R143a", 1200e3)


@pytest.mark.parametrize(
    ("share", "lag_s", "gain", "offset_pa", "noise_pa", "digits_pa"),
    [
        (0.0, 0.05, 0.992, -3e3, 250.0, 100.0),
        (0.5, 0.275, 1.0, 0.0, (250.0 * 900.0) ** 0.5, 250.0),
        (1.0, 0.5, 1.008, 3e3, 900.0, 500.0),
    ],
)
def test_a_sound_sensor_is_as_good_as_they_are(
    share: float, lag_s: float, gain: float, offset_pa: float, noise_pa: float, digits_pa: float
) -> None:
    """Catches a range of another sensor, one of its errors beyond what a sound one has, and noise drawn evenly."""
    its = draw_sensor(given(share), (10.0, 20.0))

    assert (its.range_low_pa, its.range_high_pa, its.resolution_pa) == (10.0, 20.0, digits_pa)
    assert (its.lag_s, its.gain, its.offset_pa, its.noise_pa) == pytest.approx((lag_s, gain, offset_pa, noise_pa))


def test_a_sound_chain_has_its_channels_and_its_clock() -> None:
    """Two sensors take ten draws, then a crankcase in one site of four, the period, a jitter of a twentieth in half."""
    two = [0.5] * 10
    with_it = draw_chain(given(*two, 0.24, *[0.5] * 5, 0.49, 0.49, 0.69, 0.03))
    without = draw_chain(given(*two, 0.26, 0.51, 0.51, 0.69, 0.03))

    assert (with_it.crankcase is None, with_it.period_ms, with_it.jitter_ms) == (False, 500, 25)
    assert (without.crankcase is None, without.period_ms, without.jitter_ms) == (True, 1000, 0)
    assert with_it.errors == without.errors == ()
    assert (with_it.oil.range_low_pa, with_it.oil.range_high_pa, with_it.suction.range_high_pa) == (0.0, 1600e3, 1600e3)


def test_errors_come_in_the_stated_shares() -> None:
    """One chain in ten is wrong here, one in four of those twice, one in a hundred set up wrongly, each by its own draw."""
    sound = SensorChain()
    assert with_errors(given(0.09, 0.0), sound, 0.1, 0.0) == sound
    once = with_errors(given(0.11, 0.0, 0.0, 0.0, 0.0, 0.26, 0.5), sound, 0.1, 0.01)
    twice = with_errors(given(0.11, 0.0, 0.0, 0.0, 0.0, 0.24, 0.99, 0.5, 1.0, 0.5), sound, 0.1, 0.01)
    assert (once.errors, twice.errors) == (("oil offset",), ("oil offset", "suction lost readings"))
    assert (once.oil.offset_pa, once.suction) == (3e3, sound.suction)
    assert twice.suction.lost_chance == pytest.approx(0.02)
    for draws, name, offset_pa, said in (
        ((0.0, 0.009, 0.49, 0.49), "oil", 101325.0, "oil absolute taken for gauge pressure"),
        ((0.0, 0.009, 0.51, 0.51), "suction", -101325.0, "suction gauge taken for absolute pressure"),
    ):
        wrong = with_errors(given(*draws), sound, 0.1, 0.01)
        assert wrong.errors == (said,)
        assert getattr(wrong, name) == replace(getattr(sound, name), offset_pa=offset_pa)
        assert with_errors(given(0.0, 0.011), sound, 0.1, 0.01) == sound


def test_an_error_meets_the_oil_sensor_the_suction_sensor_or_both_with_draws_of_their_own() -> None:
    """Catches both sensors off by the same, and a channel that is never meant."""
    both = with_errors(given(1.0, 0.3, 0.99, 0.2, 0.6, 1.0), SensorChain(), 0.0, 0.0)

    assert both.errors == ("both noise",)
    assert (both.oil.noise_pa, both.suction.noise_pa) == pytest.approx((1600.0, 2800.0))


# fmt: off
SIZES: dict[str, tuple[dict[str, float], dict[str, float]]] = {
    "offset": ({"offset_pa": 3e3}, {"offset_pa": -12e3}),
    "gain": ({"gain": 1.01}, {"gain": 0.975}),
    "noise": ({"noise_pa": 1e3}, {"noise_pa": 4e3}),
    "lag": ({"lag_s": 2.0}, {"lag_s": 6.0}),
    "dead band": ({"dead_band_pa": 1e3}, {"dead_band_pa": 3e3}),
    "coarse digits": ({"resolution_pa": 2e3}, {"resolution_pa": 5e3}),
    "interference": ({"spike_chance": 2e-4, "spike_pa": 20e3}, {"spike_chance": 5e-3, "spike_pa": 200e3}),
    "lost readings": ({"lost_chance": 0.002}, {"lost_chance": 0.02}),
}
# fmt: on


@pytest.mark.parametrize("kind", ERRORS)
def test_each_error_of_a_sensor_at_its_least_and_its_most(kind: str) -> None:
    """Assumed sizes, stated once more; catches one of another size or channel, and an error that goes one way only."""
    for share, wanted in zip((0.0, 1.0), SIZES[kind], strict=True):
        assert ERRORS[kind](given(share)) == pytest.approx(wanted)
        assert replace(Sensor(), **wanted) != Sensor()  # type: ignore[arg-type]
