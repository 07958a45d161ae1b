"""The sensor chain, effect by effect, on a pressure that is known exactly."""

import numpy as np
import pytest

from replay.physics import NO_READING, Sensor, SensorChain
from replay.physics.sensors import NEVER_S, SENSOR_STATES, compiled_read_trace, draw, draw_pieces, read_trace

pytestmark = pytest.mark.slow("compiles what only it runs")

QUIET = {"noise_pa": 0.0, "lag_s": 0.0, "resolution_pa": 1.0}
TIME_S = np.arange(100) * 0.5


def read(sensor: Sensor, true_pa, gaussian=None, chance=None) -> list[int]:
    """Return readings every half second of the given pressures, or of one pressure a hundred times."""
    values = np.full(TIME_S.size, true_pa) if np.isscalar(true_pa) else np.asarray(true_pa, dtype=float)
    zeros = np.zeros(values.size)
    readings = np.zeros(values.size, dtype=np.int64)
    read_trace(
        sensor.parameters(),
        np.zeros(SENSOR_STATES),
        values,
        TIME_S[: values.size],
        zeros if gaussian is None else gaussian,
        zeros + 0.5 if chance is None else chance,
        readings,
    )
    return readings.tolist()


@pytest.mark.outside(
    computation="4-20 mA: 3.8 to 20.5 mA is a measurement",
    source="NAMUR NE 43, as four secondary texts tell it",
    status="quoted",
    agreement="to 0.01 mA",
)
@pytest.mark.parametrize(
    ("sensor", "expected"),
    [
        (Sensor(**QUIET), 200000),
        (Sensor(**QUIET, offset_pa=-3000.0), 197000),
        (Sensor(**QUIET, gain=1.01), 202000),
        (Sensor(**{**QUIET, "resolution_pa": 300.0}), 200100),
        (Sensor(**QUIET, range_high_pa=150e3), 154688),
        (Sensor(**QUIET, range_low_pa=300e3), 291250),
        (Sensor(**QUIET, broken_s=(0.0, 1e9)), -250000),
        (Sensor(**QUIET, shorted_s=(0.0, 1e9)), 1125000),
        (Sensor(**QUIET, lost=((0.0, 1e9),)), NO_READING),
    ],
)
def test_one_effect_at_a_time_on_200_kpa(sensor, expected):
    """NE 43 levels as secondary texts tell them: 3.8 and 20.5 mA bound the measuring band; catches an effect left out."""
    assert set(read(sensor, 200e3)) == {expected}


def test_lag_reaches_63_percent_after_its_time_constant():
    """A step through 5 s of lag; catches a lag in samples instead of seconds."""
    readings = read(Sensor(**{**QUIET, "lag_s": 5.0}), [0.0] + [100e3] * 60)

    assert readings[10] == pytest.approx(63e3, abs=3e3)
    assert readings[-1] > 94e3


def test_the_first_reading_is_of_the_pressure_that_is_there():
    """Catches a sensor that comes up from nothing at the head of every trace, as if it had just been mended."""
    assert set(read(Sensor(**{**QUIET, "lag_s": 5.0}), 200e3)) == {200000}
    assert set(read(Sensor(**{**QUIET, "lag_s": 5.0}, stuck_s=(0.0, 1e9), offset_pa=-500.0), 200e3)) == {199500}


def test_a_sensor_as_it_comes_lags_by_a_tenth_of_a_second_and_hides_nothing():
    """Catches a range, digits or an error that a sensor has unless somebody says otherwise."""
    bare = {"lag_s": 0.1, "noise_pa": 300.0, "resolution_pa": 250.0, "range_low_pa": 0.0, "range_high_pa": 1000e3}
    sound = {"gain": 1.0, "offset_pa": 0.0, "drift_pa_s": 0.0, "spike_pa": 0.0, "dead_band_pa": 0.0}

    assert Sensor() == Sensor(**bare, **sound, lost_chance=0.0, spike_chance=0.0)
    assert (SensorChain().period_ms, SensorChain().jitter_ms) == (1000, 0)


def test_a_trace_of_a_reading_every_millisecond_is_drawn_whole():
    """Catches a last sample that falls into a piece of its own."""
    assert draw(SensorChain(period_ms=1), 0.01, np.random.Generator(np.random.PCG64(4))).time_ms.tolist() == [
        *range(11)
    ]


def test_a_lag_of_half_a_second_is_one_too_and_noise_adds():
    """By hand, half a second after a step; catches a lag that counts from a second on, and noise of the other sign."""
    assert read(Sensor(**{**QUIET, "lag_s": 0.5}), [0.0, 100e3, 100e3]) == [0, 50000, 75000]
    assert set(read(Sensor(**{**QUIET, "noise_pa": 50.0}), 200e3, gaussian=np.ones(100))) == {200050}


def test_a_reading_is_the_nearest_of_its_digits():
    """Catches digits that are cut off or rounded up."""
    sensor = Sensor(**{**QUIET, "resolution_pa": 250.0})

    assert read(sensor, [200_124.0, 200_125.0, 200_126.0, 200_374.0]) == [200000, 200250, 200250, 200250]


def test_impossible_sensors_and_clocks_are_refused_each_for_itself():
    """Catches a range of nothing, digits below a Pa, a noise below none, samples that fall together, and a trace of one."""
    for wrong in ({"range_low_pa": 5.0, "range_high_pa": 5.0}, {"resolution_pa": 0.99}, {"noise_pa": -0.1}):
        with pytest.raises(ValueError, match="impossible sensor"):
            Sensor(**wrong).parameters()
    Sensor(range_low_pa=5.0, range_high_pa=6.0, resolution_pa=1.0, noise_pa=0.0).parameters()
    for period_ms, jitter_ms in ((0, 0), (-1, 0), (100, 50), (101, 51), (100, -1)):
        with pytest.raises(ValueError, match="under half the period"):
            SensorChain(period_ms=period_ms, jitter_ms=jitter_ms)
    SensorChain(period_ms=1)
    SensorChain(period_ms=101, jitter_ms=50)
    generator = np.random.Generator(np.random.PCG64(4))
    with pytest.raises(ValueError, match="no whole period"):
        draw(SensorChain(), 0.999, generator)
    assert draw(SensorChain(), 1.0, generator).time_ms.tolist() == [0, 1000]


def test_every_sample_but_the_first_jitters():
    """Over forty traces; catches a second sample that stands still as the first does."""
    chain = SensorChain(period_ms=1000, jitter_ms=400)
    second = [int(draw(chain, 3.0, np.random.Generator(np.random.PCG64(seed))).time_ms[1]) for seed in range(40)]

    assert min(second) < 800
    assert max(second) > 1200


def test_a_tenth_stretch_without_readings_is_lost_as_the_first_is():
    """Catches a place among the stretches that slips by a quarter each time."""
    spans = tuple((4.0 * i, 4.0 * i + 1.0) for i in range(12))
    lost = [i for i, reading in enumerate(read(Sensor(**QUIET, lost=spans), 200e3)) if reading == NO_READING]

    assert lost == [8 * i + j for i in range(12) for j in (0, 1)]


def test_lag_goes_by_the_time_since_the_reading_before():
    """Ten readings of 1 s after a step, and one of 10 s; catches a sensor that lags by the reading, whatever the time."""
    sensor = Sensor(**{**QUIET, "lag_s": 10.0})
    for times, reached in (([0.0, *range(1, 11)], 1.0 - 1.0 / 1.1**10), ([0.0, 10.0], 0.5)):
        readings = np.zeros(len(times), dtype=np.int64)
        true_pa = np.array([0.0] + [100e3] * (len(times) - 1))
        nothing = np.zeros(len(times))
        held = np.zeros(SENSOR_STATES)
        read_trace(sensor.parameters(), held, true_pa, np.array(times), nothing, nothing + 0.5, readings)
        assert readings[-1] == pytest.approx(100e3 * reached, abs=1.0)


@pytest.mark.parametrize("fault", ["stuck_s", "broken_s", "shorted_s"])
def test_a_fault_lasts_from_its_beginning_to_the_reading_before_its_end(fault):
    """Catches a fault that begins a sample late or ends a sample late."""
    readings = read(Sensor(**QUIET, **{fault: (10.0, 20.0)}), 200e3 + 1e3 * np.arange(100))
    sound = [200000 + 1000 * i for i in range(100)]

    assert [i for i, (one, other) in enumerate(zip(readings, sound, strict=True)) if one != other] == list(
        range(20, 40)
    )


def test_a_broken_and_a_shorted_loop_read_beyond_their_own_range():
    """Range 100 to 900 kPa; catches a loop told from 0 Pa, which stands within the range of another sensor."""
    ranged = {**QUIET, "range_low_pa": 100e3, "range_high_pa": 900e3}

    assert set(read(Sensor(**ranged, broken_s=(0.0, 1e9)), 200e3)) == {100000 - 200000}
    assert set(read(Sensor(**ranged, shorted_s=(0.0, 1e9)), 200e3)) == {100000 + 900000}


def test_a_dead_band_holds_from_the_first_reading_with_the_errors_of_the_sensor():
    """Falling and rising; catches a first reading without offset and gain, and a band that holds one way only."""
    for slope in (-400.0, 400.0):
        sensor = Sensor(**QUIET, dead_band_pa=1000.0, offset_pa=-500.0, gain=1.001)
        readings = read(sensor, 200e3 + slope * np.arange(4))
        assert readings[:3] == [199700] * 3
        assert readings[3] == pytest.approx(199700 + 1.001 * 3 * slope, abs=1.0)


def test_a_reading_that_is_lost_leaves_nothing_behind():
    """Catches a spike on a reading that nobody saw, at which the sensor then sticks."""
    sensor = Sensor(**QUIET, lost_chance=0.2, spike_chance=0.2, spike_pa=50e3, stuck_s=(1.0, 9.0))
    chance = np.array([0.9, 0.1, 0.9, 0.9])

    assert read(sensor, np.full(4, 200e3), np.ones(4), chance) == [200000, NO_READING, 200000, 200000]


def test_the_first_of_what_is_wrong_with_any_sensor_is_when_its_readings_are_untrue():
    """Catches a short, a stuck element or a third sensor left out, and a coarse or sticky reading taken for a live one."""
    spans = {name: {name: (at, at + 1.0)} for name, at in (("stuck_s", 40.0), ("broken_s", 50.0), ("shorted_s", 60.0))}
    for name, span in spans.items():
        assert Sensor(**span).fault_s == span[name][0]
    assert Sensor(drift_from_s=30.0, **spans["broken_s"]).fault_s == 30.0
    for name in ("oil", "suction", "crankcase"):
        assert SensorChain(**{name: Sensor(stuck_s=(7.0, 8.0))}).fault_s == 7.0
    assert SensorChain().fault_s == NEVER_S
    for offset_pa in (-20_001.0, 20_001.0):
        assert Sensor(offset_pa=offset_pa).fault_s == 0.0
    assert Sensor(offset_pa=20_000.0).fault_s == NEVER_S

    assert not Sensor(noise_pa=300.0, resolution_pa=750.0).stands_still
    assert Sensor(noise_pa=300.0, resolution_pa=751.0).stands_still
    assert not Sensor(noise_pa=300.0, resolution_pa=1.0, dead_band_pa=375.0).stands_still
    assert Sensor(noise_pa=300.0, resolution_pa=1.0, dead_band_pa=376.0).stands_still


def test_pieces_hold_the_draws_of_the_whole_and_a_last_sample_at_the_end():
    """Catches a piece whose first sample has no jitter, and a trace a sample short."""
    chain = SensorChain(period_ms=100, jitter_ms=40)
    whole = draw(chain, 5.0, np.random.Generator(np.random.PCG64(4)))
    pieces = list(draw_pieces(chain, 5.0, np.random.Generator(np.random.PCG64(4)), 7))

    assert whole.time_ms.size == 51
    assert np.array_equal(np.concatenate([piece.time_ms for piece in pieces]), whole.time_ms)
    assert np.array_equal(np.concatenate([piece.chance for piece in pieces], axis=1), whole.chance)


def test_jitter_noise_and_chance_of_each_channel_are_draws_of_their_own():
    """Catches a reading that is lost where its neighbour is, and noise that goes with the time or is shared."""
    draws = draw(SensorChain(period_ms=1000, jitter_ms=499), 4000.0, np.random.Generator(np.random.PCG64(5)))
    jitter = draws.time_ms - 1000 * np.arange(draws.time_ms.size)
    together = np.corrcoef(np.vstack([jitter, draws.gaussian, draws.chance]))

    assert np.abs(together - np.eye(7)).max() < 0.08
    assert jitter.min() == -499
    assert jitter.max() == 499


def test_drift_starts_where_it_is_told():
    """Catches drift from the start of the trace."""
    readings = read(Sensor(**QUIET, drift_from_s=10.0, drift_pa_s=100.0), 200e3)

    assert readings[20] == 200000
    assert readings[40] == 201000


def test_stuck_sensor_repeats_its_last_reading_and_comes_back():
    """Catches a stuck value that still carries noise, or never lets go."""
    ramp = np.arange(100) * 1000.0
    noise = np.linspace(-1.0, 1.0, 100)
    readings = read(Sensor(**{**QUIET, "noise_pa": 50.0}, stuck_s=(10.0, 20.0)), ramp, gaussian=noise)

    assert set(readings[20:40]) == {readings[19]}
    assert readings[40] > readings[39] + 10000


def test_readings_are_lost_with_the_stated_chance():
    """Catches a chance per second or per cent: one draw in four below 0.25 is lost."""
    readings = read(Sensor(**QUIET, lost_chance=0.25), 200e3, chance=np.arange(100) / 100.0)

    assert [reading == NO_READING for reading in readings] == [i < 25 for i in range(100)]


def test_stretches_without_readings_come_and_go_as_told():
    """Catches a second stretch that never comes, or one that ends a sample late."""
    readings = read(Sensor(**QUIET, lost=((5.0, 6.0), (20.0, 22.5), (49.0, 60.0))), 200e3)
    lost = [i * 0.5 for i, reading in enumerate(readings) if reading == NO_READING]

    assert lost == [5.0, 5.5, 20.0, 20.5, 21.0, 21.5, 22.0, 49.0, 49.5]


def test_spikes_hit_single_readings_with_the_stated_chance():
    """A chance of 10 % beyond that of a lost one; catches a spike on every reading, or in place of the lost ones."""
    sensor = Sensor(**QUIET, lost_chance=0.05, spike_chance=0.099, spike_pa=50e3)
    readings = read(sensor, 200e3, gaussian=np.full(100, -2.0), chance=np.arange(100) / 100.0)

    assert readings == [NO_READING] * 5 + [100000] * 10 + [200000] * 85
    even = Sensor(**QUIET, lost_chance=0.25, spike_chance=0.25, spike_pa=50e3)
    assert read(even, np.full(3, 200e3), np.full(3, -2.0), np.array([0.25, 0.4999, 0.5])) == [100000, 100000, 200000]


def test_dead_band_holds_the_reading_until_the_pressure_has_moved_by_it():
    """A ramp of 400 Pa a sample under a band of 1 kPa; catches a band about zero, and one that never lets go."""
    readings = read(Sensor(**QUIET, dead_band_pa=1000.0), 200e3 + 400.0 * np.arange(9))

    assert readings == [200000] * 3 + [201200] * 3 + [202400] * 3
    assert read(Sensor(**QUIET, dead_band_pa=1000.0), 200e3 + 1e3 * np.arange(3)) == [200000, 201000, 202000]


@pytest.mark.parametrize(("offset_pa", "fault_s"), [(12e3, 1e18), (-19e3, 1e18), (101325.0, 0.0), (-101325.0, 0.0)])
def test_a_sensor_set_up_wrongly_fails_from_the_beginning(offset_pa, fault_s):
    """Catches a gauge taken for an absolute one that counts as sound, or a tolerable offset that does not."""
    assert SensorChain(suction=Sensor(offset_pa=offset_pa)).fault_s == fault_s


def test_noise_has_unit_deviation_and_no_tails():
    """Sum of four uniform draws: deviation 1, never beyond 3.47; catches a wrong scale."""
    draws = draw(SensorChain(period_ms=100), 3000.0, np.random.Generator(np.random.PCG64(1)))

    assert draws.gaussian.std() == pytest.approx(1.0, abs=0.01)
    assert abs(draws.gaussian.mean()) < 0.02
    assert np.abs(draws.gaussian).max() < 3.47


def test_jitter_keeps_time_increasing_and_the_first_sample_at_0():
    """Jitter just under half the period; catches samples that overtake one another."""
    draws = draw(SensorChain(period_ms=100, jitter_ms=49), 60.0, np.random.Generator(np.random.PCG64(2)))

    assert draws.time_ms[0] == 0
    assert np.all(np.diff(draws.time_ms) > 0)
    assert np.abs(draws.time_ms - np.arange(601) * 100).max() == 49


def test_compiled_and_interpreted_sensor_agree():
    """Catches rounding of another kind in either form."""
    sensor = Sensor(
        lag_s=0.7,
        gain=0.99,
        offset_pa=120.0,
        noise_pa=400.0,
        lost_chance=0.1,
        spike_chance=0.1,
        spike_pa=9e3,
        lost=((3.0, 4.0), (9.0, 12.0)),
    )
    draws = draw(SensorChain(period_ms=500), 49.0, np.random.Generator(np.random.PCG64(3)))
    true_pa = 200e3 + 5e3 * np.sin(np.arange(draws.time_ms.size))
    both = [np.zeros(true_pa.size, dtype=np.int64) for _ in range(2)]
    for function, readings in zip((read_trace, compiled_read_trace), both, strict=True):
        function(
            sensor.parameters(),
            np.zeros(SENSOR_STATES),
            true_pa,
            draws.time_ms / 1000.0,
            draws.gaussian[0],
            draws.chance[0],
            readings,
        )

    assert both[0].tolist() == both[1].tolist()
    assert NO_READING in both[0]
