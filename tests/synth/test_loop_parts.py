"""The parts of the compiled loop by themselves, as plain Python, each on a situation made by hand."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from protect.ranges import (
    CRANKCASE_PRESSURE,
    ELAPSED,
    INPUTS_SIZE,
    NO_READING,
    OIL_PRESSURE,
    RESET,
    RUN_FEEDBACK,
    SUCTION_PRESSURE,
)
from protect.state import LOCKED_OUT, STATE, STATE_SIZE
from replay.engine.obeying import CARRY_SIZE, PERMITTED, RUN_MS
from replay.physics import MACHINES, OILS, REFRIGERANTS, Channel, Schedule, Sensor, SensorChain
from replay.physics import layout as at
from replay.physics.behaviour import USUAL
from replay.physics.sensors import H_LAGGED, NOISE_DRAWS, NOISE_SCALE, SAMPLE_DRAWS, SENSOR_STATES
from replay.physics.sensors import NO_READING as NOTHING_READ
from replay.physics.simulate import Case, Spell
from replay.settings import Settings, read_settings
from replay.synth import loop
from replay.synth.loop import Running

FIXTURES = Path(__file__).parents[2] / "fixtures"


@pytest.fixture(scope="module")
def settings() -> Settings:
    """Return the settings of the demo site."""
    return read_settings(FIXTURES / "settings.toml")


def case(chain: SensorChain | None = None, **changed: Any) -> Case:
    """Return a machine that runs and nothing happens."""
    its = Case(MACHINES["granite"], OILS["still-68"], REFRIGERANTS["R134a"], Schedule(1450.0), 100.0)
    return replace(its, chain=chain or SensorChain(), **changed)


# ---------------------------------------------------------------------------------------------------------- readings


def test_what_no_sensor_can_say_is_no_reading() -> None:
    """The admitted readings by the logic's own ranges, ends included; catches an end left out, and a sentinel let through."""
    assert [loop.admitted(its) for its in (0, 6_000_000)] == [0, 6_000_000]
    for wrong in (loop.OIL_LEAST - 1, loop.OIL_MOST + 1, NOTHING_READ):
        assert loop.admitted(wrong) == NO_READING
    assert [loop.admitted(its) for its in (loop.OIL_LEAST, loop.OIL_MOST)] == [loop.OIL_LEAST, loop.OIL_MOST]


def test_each_channel_is_read_by_its_own_sensor_with_its_own_noise_and_chance() -> None:
    """Catches a sensor that reads its neighbour's pressure or noise, and a crankcase that is not suction without a sensor."""
    quiet = {"lag_s": 0.0, "noise_pa": 10.0, "resolution_pa": 1.0, "range_high_pa": 1600e3}
    sensors = [Sensor(**quiet, offset_pa=1000.0 * i, lost_chance=0.5).parameters() for i in (1, 2, 3)]
    noise = np.array([[0.0, 1.0], [0.0, 2.0], [0.0, 3.0]])
    chance = np.full((3, 2), 0.9)

    def read(*its: np.ndarray, lost: int | None = None) -> list[int]:
        inputs, held = np.zeros(INPUTS_SIZE, np.int64), np.zeros((3, SENSOR_STATES))
        chances = chance.copy()
        if lost is not None:
            chances[lost, 1] = 0.1
        loop.read_all(*its, held, np.array([300e3, 200e3, 210e3]), 5.0, noise, chances, 1, inputs)
        lagged = [300e3, 200e3, 210e3 if its[2].size else 0.0]
        assert held[:, H_LAGGED].tolist() == lagged  # each carries its own pressure on
        return [int(inputs[place]) for place in (OIL_PRESSURE, SUCTION_PRESSURE, CRANKCASE_PRESSURE)]

    assert read(*sensors) == [301_010, 202_020, 213_030]
    assert read(*sensors[:2], np.zeros(0)) == [301_010, 202_020, 202_020]
    assert read(*sensors, lost=0) == [NO_READING, 202_020, 213_030]
    assert read(*sensors, lost=1) == [301_010, NO_READING, 213_030]
    assert read(*sensors, lost=2) == [301_010, 202_020, NO_READING]


def test_no_draw_is_used_twice_and_none_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each sample has its own of each channel; catches one that noise, chance, jitter or two samples share."""
    used: list[int] = []

    def drawn(_key: Any, number: int) -> float:
        used.append(int(number))
        return (number % SAMPLE_DRAWS) / SAMPLE_DRAWS

    monkeypatch.setattr(loop, "splitmix", drawn)
    counts = np.zeros(loop.COUNTS, np.int64)
    counts[[loop.FIRST_DRAWN, loop.PERIOD_MS, loop.JITTER_MS]] = 7, 1000, 40
    time_ms, noise, chance = np.zeros(5, np.int64), np.zeros((3, 5)), np.zeros((3, 5))
    loop.fill_draws(0, counts, time_ms, noise, chance)

    assert sorted(used) == list(range(7 * SAMPLE_DRAWS, 12 * SAMPLE_DRAWS))
    assert counts[loop.DRAWN] == 5
    assert time_ms.tolist() == [1000 * i - 40 for i in range(7, 12)]  # a draw of 0 is the whole jitter early
    for channel in range(3):
        numbers = [1 + j * 3 + channel for j in range(NOISE_DRAWS)]
        wanted = (sum(numbers) / SAMPLE_DRAWS - NOISE_DRAWS / 2.0) * NOISE_SCALE
        assert noise[channel] == pytest.approx([wanted] * 5)
        assert chance[channel] == pytest.approx([(1 + NOISE_DRAWS * 3 + channel) / SAMPLE_DRAWS] * 5)


@pytest.mark.parametrize(("draw", "off"), [(0.0, -40), (0.5, 0), (0.9999, 40)])
def test_jitter_is_even_about_the_instant_and_none_at_the_first(
    monkeypatch: pytest.MonkeyPatch, draw: float, off: int
) -> None:
    """Catches a jitter that only delays, one a ms short of its range, and a trace that does not begin at 0."""
    monkeypatch.setattr(loop, "splitmix", lambda *_: draw)
    counts = np.zeros(loop.COUNTS, np.int64)
    counts[[loop.PERIOD_MS, loop.JITTER_MS]] = 500, 40
    time_ms = np.zeros(3, np.int64)
    loop.fill_draws(0, counts, time_ms, np.zeros((3, 3)), np.zeros((3, 3)))

    assert time_ms.tolist() == [0, 500 + off, 1000 + off]


# ------------------------------------------------------------------------------------------------------------- ticks


class Logic:
    """The arrays of a logic in the state that a test wants, whose step does what the test says."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, settings: Settings) -> None:
        """Power up, permission given."""
        self.values = np.array(settings.values, np.int64)
        self.memory, self.carry = np.zeros(STATE_SIZE, np.int64), np.zeros(CARRY_SIZE, np.int64)
        self.counts, self.inputs = np.zeros(loop.COUNTS, np.int64), np.zeros(INPUTS_SIZE, np.int64)
        self.carry[PERMITTED] = 1
        self.seen: list[list[int]] = []
        self.what, self.permitted, self.locks = loop.obeying.NOTHING, 1, False

        def step(memory: Any, _values: Any, inputs: Any, _results: Any) -> None:
            self.seen.append([int(inputs[place]) for place in (ELAPSED, RUN_FEEDBACK, RESET)])
            memory[STATE] = LOCKED_OUT if self.locks else 0

        def felt(_memory: Any, _results: Any, _running: int, carry: Any) -> int:
            carry[PERMITTED] = self.permitted
            return self.what

        monkeypatch.setattr(loop, "step", step)
        monkeypatch.setattr(loop, "felt", felt)

    def tick(
        self, now_ms: int, running: int = 1, wants: int = 1, what: int = loop.obeying.NOTHING, permitted: int = 1
    ) -> int:
        """Take one tick."""
        self.what, self.permitted = what, permitted
        return loop.tick(
            now_ms,
            running,
            wants,
            self.values,
            self.memory,
            self.inputs,
            np.zeros(9, np.int64),
            self.carry,
            self.counts,
        )

    def count(self, *places: int) -> list[int]:
        """Return what is counted."""
        return [int(self.counts[place]) for place in places]


def test_a_tick_tells_the_logic_its_time_what_runs_and_the_reset(
    monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    """A reset is pressed from its beginning to before its end; catches a time since the start, and a side of the span."""
    logic = Logic(monkeypatch, settings)
    logic.counts[[loop.RESET_FROM_MS, loop.RESET_TO_MS]] = 2000, 4000
    for now_ms, running in ((1000, 1), (2000, 0), (3900, 1), (4000, 1)):
        logic.tick(now_ms, running)

    assert logic.seen == [[1000, 1, 0], [1000, 0, 1], [1900, 1, 1], [100, 1, 0]]


def test_hours_run_down_and_stops_are_counted_once_each(monkeypatch: pytest.MonkeyPatch, settings: Settings) -> None:
    """By hand; catches a machine that stands counted as running, a gap too long to judge counted as run, and two restarts."""
    most = int(settings.values[loop.MAX_GAP])
    logic = Logic(monkeypatch, settings)
    assert logic.tick(1000) == loop.obeying.NOTHING
    assert logic.tick(1000 + most) == loop.obeying.NOTHING
    assert logic.tick(2001 + 2 * most) == loop.obeying.NOTHING  # a gap beyond what is judged
    now = 2001 + 2 * most
    assert logic.carry[RUN_MS] == 1000 + most
    assert logic.tick(now + 1000, what=4, permitted=0) == 4  # stopped
    assert logic.tick(now + 3000, running=0, permitted=0) == loop.obeying.NOTHING
    assert logic.tick(now + 6000, running=0, wants=0, permitted=0) == loop.obeying.NOTHING  # nobody wants it
    assert logic.tick(now + 7000, running=0, what=loop.obeying.MAY_RUN) == loop.obeying.MAY_RUN
    assert logic.count(loop.STOPS, loop.RESTARTS, loop.DOWN_MS, loop.LOCKOUTS) == [1, 0, 2000 + 1000, 0]
    logic.tick(now + 8000)
    logic.tick(now + 9000)
    assert logic.count(loop.STOPS, loop.RESTARTS, loop.DOWN_MS) == [1, 1, 3000]
    assert logic.carry[RUN_MS] == 1000 + most + 1000 + 2000


def test_a_lockout_counts_when_it_comes_and_not_while_it_lasts(
    monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    """Catches a lockout a tick, and one that no second one follows."""
    logic = Logic(monkeypatch, settings)
    for number, locks in enumerate((False, True, True, False, True)):
        logic.locks = locks
        logic.tick(1000 * number, permitted=0)

    assert logic.count(loop.LOCKOUTS) == [2]


# -------------------------------------------------------------------------------------------------------- long steps


def long_step(monkeypatch: pytest.MonkeyPatch, during: dict[int, float], **state: float) -> tuple[bool, np.ndarray]:
    """Take a long step of a settled machine, in which its state becomes `during`; state: by lower-case name, before it."""
    its = case()
    machine = Running(its, read_settings(FIXTURES / "settings.toml"), 1, long_steps=True)
    s, p = machine.state, machine.p.copy()
    p[at.P_STEP_S] *= loop.LONG_STEPS
    s[at.S_NET_PA], s[at.S_SUCTION_PA], s[at.S_CRANKCASE_PA], s[at.S_PRIMED] = 100e3, 200e3, 210e3, 1.0
    s[at.S_POCKET_KG], s[at.S_WHOLE], s[at.S_SPEED] = 0.0, 1.0, 1.0
    for name, value in state.items():
        s[getattr(at, f"S_{name.upper()}")] = value

    def step(s: Any, *_: Any) -> None:
        for place, value in during.items():
            s[place] = value

    monkeypatch.setattr(loop, "one_step", step)
    times, values, slopes, steady, gentle = machine.plan
    return loop.long_step(s, p, np.zeros((2, 2)), times, values, slopes, steady, gentle, 1.0, np.zeros(at.INPUTS)), s


@pytest.mark.slow("lets a machine settle, which is machine code")
def test_a_settled_machine_takes_a_long_step_of_five_seconds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches one that is never taken, and a clock that does not go with it."""
    good, s = long_step(monkeypatch, {})

    assert good
    assert s[at.S_STEP] == 50


POCKET_KG = 0.01 * 1.0e-4 * 210e3 / (8314.46261815324 / REFRIGERANTS["R134a"].molar_mass_g_mol * 288.15)


@pytest.mark.slow("lets a machine settle, which is machine code")
@pytest.mark.parametrize(
    ("during", "good"),
    [
        ({at.S_NET_PA: 100e3 - 1500.0}, True),
        ({at.S_NET_PA: 100e3 - 1501.0}, False),
        ({at.S_NET_PA: 100e3 + 1501.0}, False),
        ({at.S_SUCTION_PA: 200e3 + 2000.0}, True),
        ({at.S_SUCTION_PA: 200e3 + 2001.0}, False),
        ({at.S_SUCTION_PA: 200e3 - 2001.0}, False),
        ({at.S_CRANKCASE_PA: 210e3 - 2100.0}, True),
        ({at.S_CRANKCASE_PA: 210e3 - 2101.0}, False),
        ({at.S_POCKET_KG: 0.999 * POCKET_KG}, True),
        ({at.S_POCKET_KG: 1.001 * POCKET_KG}, False),
        ({at.S_PRIMED: 0.9}, False),
        ({at.S_WHOLE: 0.0}, False),
        ({at.S_ONSET_S: 3.0}, False),
    ],
)
def test_a_long_step_in_which_something_moves_is_taken_back(
    monkeypatch: pytest.MonkeyPatch, during: dict[int, float], good: bool
) -> None:
    """By 1 % of a pressure, of net oil pressure 500 Pa more; catches a bound to one side, and one that is not asked."""
    assert long_step(monkeypatch, during)[0] == good


@pytest.mark.slow("lets a machine settle, which is machine code")
def test_a_pocket_that_stays_as_it_is_is_settled(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches gas that is there taken for gas that moves."""
    assert long_step(monkeypatch, {}, pocket_kg=3.0 * POCKET_KG)[0]
    assert not long_step(monkeypatch, {at.S_POCKET_KG: 1.9 * POCKET_KG}, pocket_kg=3.0 * POCKET_KG)[0]


@pytest.mark.slow("lets a machine settle, which is machine code")
@pytest.mark.parametrize(
    ("state", "good"),
    [
        ({"whole": 0.0}, False),
        ({"speed": 1.0 - 0.0011}, False),
        ({"speed": 1.0 + 0.0011}, False),
        ({"speed": 1.0 - 0.0009}, True),
        ({"primed": 0.0}, False),
    ],
)
def test_a_machine_that_is_not_settled_takes_no_long_step(
    monkeypatch: pytest.MonkeyPatch, state: dict[str, float], good: bool
) -> None:
    """Catches a machine on its way to its speed, one that lacks oil, and a dry pump, which may prime at any moment."""
    assert long_step(monkeypatch, {}, **state)[0] == good


@pytest.mark.slow("lets a machine settle, which is machine code")
def test_no_long_step_passes_the_end_of_a_segment_of_the_plan_or_a_steep_ramp(
    monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    """A change at 5 s may come with the end of the step, not before; catches a stop that comes late."""
    monkeypatch.setattr(loop, "one_step", lambda *_: None)

    def taken(plan: Schedule) -> bool:
        machine = Running(case(), settings, 1, long_steps=True)
        machine.follow(plan.arrays())
        p = machine.p.copy()
        p[at.P_STEP_S] *= loop.LONG_STEPS
        machine.state[at.S_SPEED] = machine.state[at.S_PRIMED] = machine.state[at.S_WHOLE] = 1.0
        return loop.long_step(machine.state, p, np.zeros((2, 2)), *machine.plan, 1.0, np.zeros(at.INPUTS))

    assert taken(Schedule(1450.0).change(Channel.RUN, 5.0, 0.0))
    assert not taken(Schedule(1450.0).change(Channel.RUN, 4.9, 0.0))
    assert taken(Schedule(1450.0).change(Channel.DISCHARGE_PA, 0.0, 900e3 * 1.0039, 10.0))
    assert not taken(Schedule(1450.0).change(Channel.DISCHARGE_PA, 0.0, 900e3 * 1.0041, 10.0))
    assert not taken(Schedule(1450.0).change(Channel.DISCHARGE_PA, 0.0, 900e3 * 0.9959, 10.0))


def test_a_machine_that_coasts_towards_nothing_stands(monkeypatch: pytest.MonkeyPatch, settings: Settings) -> None:
    """Catches a speed of 1e-300 of the rated one, which costs time for ever."""
    monkeypatch.setattr(loop, "one_step", lambda *_: None)
    machine = Running(case(schedule=Schedule(1450.0, running=False)), settings, 1, long_steps=True)
    p = machine.p.copy()
    p[at.P_STEP_S] *= loop.LONG_STEPS
    machine.state[at.S_SPEED] = 1e-10

    assert loop.long_step(machine.state, p, np.zeros((2, 2)), *machine.plan, 1.0, np.zeros(at.INPUTS))
    assert machine.state[at.S_SPEED] == 0.0


# ----------------------------------------------------------------------------------------------------------- a machine


@pytest.mark.slow("lets a machine settle, which is machine code")
@pytest.mark.parametrize(
    ("chain", "long"),
    [
        (SensorChain(period_ms=41), 1),
        (SensorChain(period_ms=40), 1),
        (SensorChain(period_ms=39), 0),
        (SensorChain(oil=Sensor(dead_band_pa=5e3)), 0),
        (SensorChain(suction=Sensor(dead_band_pa=5e3)), 0),
        (SensorChain(crankcase=Sensor(dead_band_pa=5e3)), 0),
    ],
)
def test_long_steps_are_for_readings_that_move_and_come_seldom_enough(
    settings: Settings, chain: SensorChain, long: int
) -> None:
    """126 samples have to hold 5 s; catches a stuck check that hangs on a pascal of the line, and draws that run out."""
    machine = Running(case(chain), settings, 1, long_steps=True)

    assert machine.counts[loop.LONG] == long
    assert Running(case(chain), settings, 1).counts[loop.LONG] == 0
    assert (machine.counts[loop.PERIOD_MS], machine.period_ms) == (chain.period_ms, chain.period_ms)


@pytest.mark.slow("lets a machine settle, which is machine code")
def test_a_machine_begins_with_the_logic_powered_up_permission_given_and_all_its_oil(settings: Settings) -> None:
    """Catches a machine that has to wait for its first permission, and a step or slow steps that are not 5 s and one."""
    machine = Running(case(), settings, 1, long_steps=True)

    assert machine.carry[PERMITTED] == 1
    assert (machine.least[0], machine.run_h, machine.now_s, machine.last_tick_ms) == (1.0, 0.0, 0.0, 0)
    long_p = machine._long_p  # noqa: SLF001 - what only the loop sees
    assert (long_p[at.P_STEP_S], long_p[at.P_SLOW_STEPS]) == (pytest.approx(5.0), 1.0)
    assert machine.p[at.P_STEP_S] == 0.1
    machine.carry[RUN_MS] = 5_400_000
    machine.state[at.S_STEP] = 25
    assert (machine.run_h, machine.now_s) == (1.5, 2.5)


@pytest.mark.slow("lets a machine settle, which is machine code")
def test_time_begins_anew_and_all_that_is_dated_goes_with_it(settings: Settings) -> None:
    """At 90 s; catches a spell, a reset, a lag or a tick that stays in the old time, and draws used a second time."""
    machine = Running(case(), settings, 1)
    machine.state[at.S_STEP], machine.state[at.S_ONSET_S] = 1000, 60.0
    machine._held[:, 2] = 99.0  # noqa: SLF001 - time of the reading before
    machine.counts[[loop.LAST_TICK_MS, loop.RESET_FROM_MS, loop.RESET_TO_MS]] = 99_000, 95_000, 120_000
    machine.counts[[loop.NEXT_SAMPLE, loop.FIRST_DRAWN, loop.DRAWN, loop.AGAIN_STEP]] = 100, 90, 20, 1010
    machine.begin_anew(90_000, 7)

    assert (machine.state[at.S_STEP], machine.state[at.S_ONSET_S]) == (100, -30.0)
    assert machine._held[:, 2].tolist() == [9.0, 9.0, 9.0]  # noqa: SLF001
    assert machine.counts[[loop.LAST_TICK_MS, loop.RESET_FROM_MS, loop.RESET_TO_MS]].tolist() == [9000, 5000, 30_000]
    assert machine.counts[[loop.NEXT_SAMPLE, loop.FIRST_DRAWN, loop.DRAWN, loop.AGAIN_STEP]].tolist() == [0] * 4
    machine.state[at.S_ONSET_S] = at.NEVER
    machine.begin_anew(10_000, 8)
    assert machine.state[at.S_ONSET_S] == at.NEVER


@pytest.mark.slow("lets a machine settle, which is machine code")
def test_damage_is_forgotten_and_bearings_are_mended(settings: Settings) -> None:
    """Catches spells counted twice, a spell that goes on spoiling, and new bearings without oil or with heat."""
    machine = Running(case(), settings, 1)
    machine.state[at.S_SPELLS] = machine.state[at.S_SPOILING] = 1.0
    machine.state[at.S_HEAT : at.S_PASSAGE] = 1.0
    machine.state[at.S_RESERVE : at.S_HEAT] = 0.1
    machine.forget_damage()
    assert machine.damage.certainty == "none"
    assert machine.state[at.S_HEAT] == 1.0
    machine.mend()
    assert machine.state[at.S_HEAT : at.S_PASSAGE].tolist() == [0.0] * 6
    assert machine.state[at.S_RESERVE : at.S_HEAT].tolist() == [1.0] * 6


@pytest.mark.slow("lets a machine settle, which is machine code")
def test_a_copy_shares_nothing_that_changes(settings: Settings) -> None:
    """Catches plant, words, readings held, least film or draws of one machine in another."""
    machine = Running(case(), settings, 1)
    machine.state[at.S_SEGMENT] = 3.0
    other = machine.copy()
    machine._held[:] = 77  # noqa: SLF001 - what only the loop sees
    for array in (machine.state, machine.memory, machine.carry, machine.counts, machine.least, *machine._blocks):  # noqa: SLF001
        array[:] = 77
    for array in (other.state, other.memory, other.counts, other.least, other._held, *other._blocks):  # noqa: SLF001
        assert not (array == 77).any()
    assert other.state[at.S_SEGMENT] == -1.0


QUIET = {"lag_s": 0.0, "noise_pa": 0.0, "resolution_pa": 1.0}


@pytest.mark.slow("lets a machine settle, which is machine code")
def test_every_sample_before_a_moment_is_taken_once(monkeypatch: pytest.MonkeyPatch, settings: Settings) -> None:
    """As plain Python; catches the sample of midnight taken twice, and one that is left out."""
    monkeypatch.setattr(loop, "compiled_obey", lambda: loop.obey)
    machine = Running(case(SensorChain(Sensor(**QUIET), Sensor(**QUIET))), settings, 1)
    for until_ms, last_ms in ((3000, 2000), (3001, 3000), (5000, 4000)):
        with np.errstate(over="ignore"):  # words of 64 bits wrap
            assert machine.run(until_ms)
        assert (machine.last_tick_ms, machine.counts[loop.NEXT_SAMPLE]) == (last_ms, last_ms // 1000 + 1)
    assert machine.carry[RUN_MS] == 4000


@pytest.mark.slow("lets a machine settle, which is machine code")
def test_a_machine_with_the_draws_of_its_case_takes_its_samples_to_the_end(
    monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    """Catches samples beyond those that are drawn."""
    monkeypatch.setattr(loop, "compiled_obey", lambda: loop.obey)
    its = case(SensorChain(Sensor(**QUIET), Sensor(**QUIET)), duration_s=7.0)
    machine = Running(its, settings)

    assert machine.run(5000)
    assert machine.last_tick_ms == 4000
    assert machine.run(loop.NEVER_MS)
    assert (machine.last_tick_ms, machine.counts[loop.NEXT_SAMPLE]) == (7000, 8)


@pytest.mark.slow("lets a machine settle, which is machine code")
def test_the_logic_reads_each_pressure_at_its_place_and_the_least_film_is_kept(
    monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    """A crankcase 2.5 kPa over suction; catches suction read for crankcase, and a film that is the last and not the least."""
    monkeypatch.setattr(loop, "compiled_obey", lambda: loop.obey)
    chain = SensorChain(Sensor(**QUIET), Sensor(**QUIET), Sensor(**QUIET))
    leaky = replace(USUAL, vent_drop=0.05, blow_by_share=0.02)
    machine = Running(case(chain, behaviour=leaky), settings, 1)
    machine.state[at.S_RESERVE : at.S_HEAT], machine.state[at.S_WHOLE] = 0.5, 0.0
    with np.errstate(over="ignore"):
        machine.run(8000)
    inputs = machine._scratch[0]  # noqa: SLF001 - what only the loop sees
    oil, suction, crankcase = (float(inputs[place]) for place in (OIL_PRESSURE, SUCTION_PRESSURE, CRANKCASE_PRESSURE))

    assert crankcase - suction == pytest.approx(2500.0, rel=0.1)
    assert suction == pytest.approx(machine.state[at.S_SUCTION_PA], abs=1.0)
    assert oil - crankcase == pytest.approx(machine.state[at.S_NET_PA], abs=1.0)
    assert machine.least[0] < 0.65
    assert machine.state[at.S_RESERVE + 1] > 0.9


@pytest.mark.slow("lets a machine settle, which is machine code")
def test_a_record_begins_at_its_own_first_sample_with_the_draws_of_the_loop(settings: Settings) -> None:
    """From 20 s to a minute; catches times of the day, draws of another stretch or channel, and spells in the old time."""
    noisy = Sensor(lag_s=0.0, noise_pa=5000.0, resolution_pa=1.0)
    machine = Running(case(SensorChain(noisy, noisy)), settings, 9)
    machine.let_run(20.0)
    machine.counts[loop.NEXT_SAMPLE] = 20
    machine.state[at.S_SPELLS] = 1.0
    machine.state[at.S_RECORD : at.S_RECORD + 4] = 10.0, 30.0, 35.0, 40.0
    found = machine.record(60_000)
    drawn = np.zeros(loop.COUNTS, np.int64)
    drawn[[loop.FIRST_DRAWN, loop.PERIOD_MS]] = 20, 1000
    time_ms, noise, chance = np.zeros(40, np.int64), np.zeros((3, 40)), np.zeros((3, 40))
    with np.errstate(over="ignore"):  # words of 64 bits wrap
        loop.fill_draws(np.uint64(9), drawn, time_ms, noise, chance)

    assert found.time_ms.tolist() == [1000 * i for i in range(40)]
    assert found.crankcase_pa is None
    assert found.oil_pa - found.true_oil_pa == pytest.approx(5000.0 * noise[0], abs=1.0)
    assert found.suction_pa - found.true_suction_pa == pytest.approx(5000.0 * noise[1], abs=1.0)
    assert found.damage.spells == (Spell(-10.0, (10.0, 15.0, 20.0)),)


@pytest.mark.slow("lets a machine settle, which is machine code")
@pytest.mark.parametrize("stops_at", [None, 3000])
def test_a_long_step_reads_the_line_between_its_ends_and_is_taken_back_where_a_stop_falls_in_it(
    monkeypatch: pytest.MonkeyPatch, settings: Settings, stops_at: int | None
) -> None:
    """100 kPa in 5 s; catches a line drawn backwards or from another step, and a machine left where its stop was not."""
    monkeypatch.setattr(loop, "compiled_obey", lambda: loop.obey)
    machine = Running(case(SensorChain(Sensor(**QUIET), Sensor(**QUIET))), settings, 1, long_steps=True)
    machine.counts[loop.LONG] = 1
    seen: list[tuple[int, int]] = []
    fine: list[float] = []
    begun: list[float] = []

    def long_step(s: Any, *_: Any) -> bool:
        begun.append(float(s[at.S_STEP]))
        s[at.S_STEP] += loop.LONG_STEPS
        s[at.S_SUCTION_PA] += 100e3
        return len(begun) == 1

    def tick(
        now_ms: int,
        _running: int,
        _wants: int,
        _values: Any,
        _memory: Any,
        inputs: Any,
        _results: Any,
        carry: Any,
        counts: Any,
    ) -> int:
        seen.append((int(now_ms), int(inputs[SUCTION_PRESSURE])))
        counts[loop.LAST_TICK_MS] = now_ms
        carry[PERMITTED] = int(now_ms != stops_at or bool(fine[1:]))
        return 0

    def advance(s: Any, *rest: Any) -> None:
        fine.append(rest[-3])
        s[at.S_STEP] = max(s[at.S_STEP], round(rest[-3] * 10.0))
        rest[-1][at.R_SUCTION_PA] = s[at.S_SUCTION_PA]

    monkeypatch.setattr(loop, "long_step", long_step)
    monkeypatch.setattr(loop, "tick", tick)
    monkeypatch.setattr(loop, "advance", advance)
    machine.state[at.S_SUCTION_PA] = 200e3
    with np.errstate(over="ignore"):
        machine.run(6000)

    line = [(1000 * i, 200_000 + 20_000 * i) for i in range(1, 6)]
    assert (begun[0], fine[0], seen[0]) == (0.0, 0.0, (0, 200_000))
    if stops_at is None:
        assert seen == [(0, 200_000), *line]
        assert (fine, machine.counts[loop.LONG_TAKEN]) == ([0.0], 1)
        assert machine.state[at.S_SUCTION_PA] == 300e3
    else:
        assert seen[:4] == [(0, 200_000), *line[:3]]
        assert seen[4:] == [(1000 * i, 200_000) for i in range(1, 6)]  # again from before the long step, each by itself
        assert fine == [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]
        assert machine.counts[loop.LONG_TAKEN] == 0
    assert machine.counts[loop.NEXT_SAMPLE] == 6
