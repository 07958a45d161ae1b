"""Plant, sensors and logic in one compiled loop over samples: a machine that obeys, for as long as one likes.

`obey` is plain Python over arrays and runs as such (slowly, bit for bit the same, which a test holds); `compiled_obey`
is its numba form. What a machine is at a moment are the arrays of `Running`: copy them, and it goes on twice.

*Long steps.* Every sample is taken and every tick decided, always. What may take long steps is the plant alone: while
it stands, or runs with a full film, no gas pocket, and pressures that move by less than `SETTLED` in such a step. The
step is tried and taken back where that does not hold, or where the logic withdraws or returns permission within it, so
each stop, start and change of the schedule falls in a stretch of fine steps. Between the ends of a long step pressures
lie on the line. A test holds that stops and damage come out the same with long steps and without. Where readings stand
still by themselves, the stuck check hangs on the last pascal and no long step is taken.
"""

import copy
import functools
from dataclasses import replace
from pathlib import Path
from typing import Any, Self

import numpy as np
from numba.extending import register_jitable

from protect import conditions, integral, outputs, protection, signals, state, table, timers
from protect.outputs import OUTPUTS_SIZE
from protect.protection import step
from protect.ranges import (
    CRANKCASE_PRESSURE,
    ELAPSED,
    INPUTS,
    INPUTS_SIZE,
    MAX_GAP,
    NO_READING,
    OIL_PRESSURE,
    RESET,
    RUN_FEEDBACK,
    SUCTION_PRESSURE,
)
from protect.state import LOCKED_OUT, STATE, STATE_SIZE, power_up
from replay.engine import obeying
from replay.engine.compiled import cache_folder
from replay.engine.obeying import CARRY_SIZE, PERMITTED, RUN_MS, felt
from replay.engine.offered import offer
from replay.ground import machine_code
from replay.ground.cache import code_folder
from replay.physics import kernel
from replay.physics import layout as at
from replay.physics.kernel import advance, one_step, read_inputs
from replay.physics.model import UNREAD, clear_bearing, first_state, solubility_table
from replay.physics.schedule import Plan
from replay.physics.sensors import (
    CHANNELS,
    H_TIME_S,
    NOISE_DRAWS,
    NOISE_SCALE,
    SAMPLE_DRAWS,
    SENSOR_STATES,
    SensorChain,
    compiled_read_trace,
    read_sensor,
)
from replay.physics.sensors import NO_READING as NOTHING_READ
from replay.physics.simulate import Case, Damage, Result, Spell, damage_of, draws_of
from replay.settings import Settings

LONG_STEPS = 50  # base steps of a long one: 5 s
GENTLE = 0.002  # a ramp of the schedule that moves an input by no more than this share in a long step is followed by it
SETTLED = 0.01  # shares by which pressures may move in a long step
SETTLED_PA = 500.0
BLOCK = 1024  # samples whose random numbers are held
ROOM = 128  # of them have to be there for a long step, which takes fewer
OIL_LEAST, OIL_MOST = INPUTS[OIL_PRESSURE][2:]
STANDING = 1e-9
FLAT = 1e-3  # speed is that of the command, in shares of the rated one

# Places of what the loop carries, int64.
# fmt: off
(NEXT_SAMPLE, LAST_TICK_MS, FIRST_DRAWN, DRAWN, UNTIL_MS, RESET_FROM_MS, RESET_TO_MS, RESTARTS, DOWN_MS, STOPS,
 LOCKOUTS, LONG, AGAIN_STEP, LONG_TAKEN, PERIOD_MS, JITTER_MS, AWAITING) = range(17)
# fmt: on
COUNTS = 17
WORDS = STATE_SIZE + CARRY_SIZE + COUNTS
# Why the loop returned.
REACHED, WANTS_DRAWS, STOPPED = range(3)
NEVER_MS = 1 << 60


@register_jitable
def splitmix(key: Any, number: int) -> float:
    """Return the number-th uniform draw (0 .. 1) of a 64 bit key: SplitMix64 (Steele, Lea and Flood 2014) as a counter.

    From memory of the published constants; a test holds it against the sequence that its authors' code prints for 0.
    """
    z = key + np.uint64(number + 1) * np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    z = z ^ (z >> np.uint64(31))
    return float(z >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@register_jitable
def fill_draws(key: Any, counts: Any, time_ms: Any, gaussian: Any, chance: Any) -> None:
    """Draw sample instants, noise and chance of the samples from FIRST_DRAWN on, as `physics.sensors.draw_pieces`."""
    width = 2 * counts[JITTER_MS] + 1
    for i in range(time_ms.shape[0]):
        number = counts[FIRST_DRAWN] + i
        base = number * SAMPLE_DRAWS
        jitter = int(np.floor(splitmix(key, base) * width)) - counts[JITTER_MS]
        time_ms[i] = number * counts[PERIOD_MS] + (jitter if number > 0 else 0)
        for channel in range(CHANNELS):
            noise = -0.5 * NOISE_DRAWS
            for j in range(NOISE_DRAWS):
                noise = noise + splitmix(key, base + 1 + j * CHANNELS + channel)
            gaussian[channel, i] = noise * NOISE_SCALE
            chance[channel, i] = splitmix(key, base + 1 + NOISE_DRAWS * CHANNELS + channel)
    counts[DRAWN] = time_ms.shape[0]


@register_jitable
def put(source: Any, target: Any) -> None:
    """Copy an array into another (a slice would make a third, which this code must not)."""
    for i in range(source.shape[0]):
        target[i] = source[i]


@register_jitable
def admitted(reading: int) -> int:
    """Return a reading as the logic takes it: what no sensor can say is no reading."""
    if reading == NOTHING_READ or reading < OIL_LEAST or reading > OIL_MOST:
        return NO_READING
    return reading


@register_jitable
def tick(
    now_ms: int, running: int, wants: int, values: Any, memory: Any, inputs: Any, results: Any, carry: Any, counts: Any
) -> int:
    """Let the logic decide on the readings in inputs; returns the cause of a stop felt now, MAY_RUN or NOTHING."""
    elapsed = now_ms - counts[LAST_TICK_MS]
    counts[LAST_TICK_MS] = now_ms
    inputs[ELAPSED] = elapsed
    inputs[RUN_FEEDBACK] = running
    inputs[RESET] = 1 if counts[RESET_FROM_MS] <= now_ms < counts[RESET_TO_MS] else 0
    if wants and not carry[PERMITTED]:
        counts[DOWN_MS] += elapsed
    was = memory[STATE]
    step(memory, values, inputs, results)
    if running and elapsed <= values[MAX_GAP]:
        carry[RUN_MS] += elapsed
    what = felt(memory, results, running, carry)
    if memory[STATE] == LOCKED_OUT and was != LOCKED_OUT:
        counts[LOCKOUTS] += 1
    if what > 0:
        counts[STOPS] += 1
        counts[AWAITING] = 1
    if running and counts[AWAITING] and carry[PERMITTED]:
        counts[RESTARTS] += 1
        counts[AWAITING] = 0
    return what


@register_jitable
def long_step(
    s: Any, p: Any, solubility: Any, times: Any, values: Any, slopes: Any, steady: Any, gentle: Any, permission: float,
    u: Any,
) -> bool:  # fmt: skip
    """Take one long step if the plant is settled; False: it is not, and s is to be taken back."""
    now_s = s[at.S_STEP] * (p[at.P_STEP_S] / LONG_STEPS)
    read_inputs(s, times, values, slopes, steady, now_s, u)
    segment = int(s[at.S_SEGMENT])
    ends = segment + 1 < times.shape[0] and times[segment + 1] < now_s + p[at.P_STEP_S]
    if ends or not gentle[segment]:
        return False
    runs = u[at.U_RUN] >= kernel.ON and permission > kernel.ON
    wanted = u[at.U_SPEED_RPM] / p[at.P_RATED_RPM] if runs else 0.0
    if abs(wanted - s[at.S_SPEED]) > FLAT or s[at.S_WHOLE] <= 0.0:
        return False
    if s[at.S_SPEED] < STANDING:  # it coasts towards nothing for ever, in numbers that cost much time
        s[at.S_SPEED] = 0.0
    net, suction, crankcase = s[at.S_NET_PA], s[at.S_SUCTION_PA], s[at.S_CRANKCASE_PA]
    pocket, primed = s[at.S_POCKET_KG], s[at.S_PRIMED]
    one_step(s, p, u, permission, now_s, solubility)
    s[at.S_STEP] = s[at.S_STEP] + LONG_STEPS
    return bool(
        s[at.S_WHOLE] > 0.0
        and s[at.S_ONSET_S] == at.NEVER
        and abs(s[at.S_POCKET_KG] - pocket) <= SETTLED * p[at.P_POCKET_M3] * crankcase / p[at.P_GAS_RT]
        and s[at.S_PRIMED] == primed
        and (primed > 0.0 or s[at.S_SPEED] == 0.0)
        and abs(s[at.S_NET_PA] - net) <= SETTLED * net + SETTLED_PA
        and abs(s[at.S_SUCTION_PA] - suction) <= SETTLED * suction
        and abs(s[at.S_CRANKCASE_PA] - crankcase) <= SETTLED * crankcase
    )


@register_jitable
def read_all(
    oil: Any, suction: Any, crankcase: Any, held: Any, true_pa: Any, now_s: float, noise: Any, chance: Any, place: int,
    inputs: Any,
) -> None:  # fmt: skip
    """Fill the pressures of inputs from true_pa[3] through the sensors; suction stands for a crankcase without one."""
    read = read_sensor(oil, held[0], true_pa[0], now_s, noise[0, place], chance[0, place])
    inputs[OIL_PRESSURE] = admitted(read)
    read = read_sensor(suction, held[1], true_pa[1], now_s, noise[1, place], chance[1, place])
    inputs[SUCTION_PRESSURE] = inputs[CRANKCASE_PRESSURE] = admitted(read)
    if crankcase.shape[0] > 0:
        read = read_sensor(crankcase, held[2], true_pa[2], now_s, noise[2, place], chance[2, place])
        inputs[CRANKCASE_PRESSURE] = admitted(read)


def obey(  # noqa: PLR0915 - one loop
    plant: Any, s: Any, held: Any, p: Any, long_p: Any, solubility: Any,
    times: Any, plan: Any, slopes: Any, steady: Any, gentle: Any, u: Any, row: Any,
    oil: Any, suction: Any, crankcase: Any, key: Any, time_ms: Any, noise: Any, chance: Any,
    values: Any, words: Any, memory: Any, carry: Any, counts: Any, inputs: Any, results: Any,
    true_pa: Any, least: Any, plant_before: Any, words_before: Any,
) -> int:  # fmt: skip
    """Run on until UNTIL_MS, until a stop, or until draws are wanted; tell which.

    s, held: views of plant; memory, carry, counts: views of words; p .. row: as `physics.kernel.advance`; long_p: p
    with a long step; gentle: whether one may follow a segment of the plan; oil, suction, crankcase: parameters of the
    sensors, crankcase of none is empty; key: of the draws, 0: the caller fills time_ms[n], noise[3, n], chance[3, n];
    least[1]: film reserve of the likely journal; true_pa[3] and the arrays named before: scratch.
    """
    base_s = p[at.P_STEP_S]
    while True:
        place = counts[NEXT_SAMPLE] - counts[FIRST_DRAWN]
        if place < 0 or place >= counts[DRAWN] or (key != 0 and place > BLOCK - ROOM):
            if key == 0:
                return WANTS_DRAWS
            counts[FIRST_DRAWN] = counts[NEXT_SAMPLE]
            fill_draws(key, counts, time_ms, noise, chance)
            place = 0
        if time_ms[place] >= counts[UNTIL_MS]:
            return REACHED
        now_s = time_ms[place] / 1000.0
        permission = 1.0 if carry[PERMITTED] else 0.0
        step_now = s[at.S_STEP]
        if (
            counts[LONG]
            and step_now >= counts[AGAIN_STEP]
            and step_now * base_s < now_s
            and counts[DRAWN] - place > ROOM
        ):
            put(plant, plant_before)
            put(words, words_before)
            good = long_step(s, long_p, solubility, times, plan, slopes, steady, gentle, permission, u)
            end_s = s[at.S_STEP] * base_s
            wants = 1 if u[at.U_RUN] >= kernel.ON else 0
            while good and now_s <= end_s and time_ms[place] < counts[UNTIL_MS]:
                back = min(max((end_s - now_s) / (LONG_STEPS * base_s), 0.0), 1.0)
                oil_pa = s[at.S_CRANKCASE_PA] + s[at.S_NET_PA]
                oil_before = plant_before[at.S_CRANKCASE_PA] + plant_before[at.S_NET_PA]
                true_pa[0] = oil_pa + back * (oil_before - oil_pa)
                true_pa[1] = s[at.S_SUCTION_PA] + back * (plant_before[at.S_SUCTION_PA] - s[at.S_SUCTION_PA])
                true_pa[2] = s[at.S_CRANKCASE_PA] + back * (plant_before[at.S_CRANKCASE_PA] - s[at.S_CRANKCASE_PA])
                read_all(oil, suction, crankcase, held, true_pa, now_s, noise, chance, place, inputs)
                running = wants if permission > 0.0 else 0
                tick(time_ms[place], running, wants, values, memory, inputs, results, carry, counts)
                good = (carry[PERMITTED] != 0) == (permission > 0.0)
                counts[NEXT_SAMPLE] += 1
                place += 1
                now_s = time_ms[place] / 1000.0
            if good:
                counts[LONG_TAKEN] += 1
                continue
            put(plant_before, plant)
            put(words_before, words)
            counts[AGAIN_STEP] = int(step_now) + LONG_STEPS
            place = counts[NEXT_SAMPLE] - counts[FIRST_DRAWN]
            now_s = time_ms[place] / 1000.0
        advance(s, p, solubility, times, plan, slopes, steady, permission, now_s, u, row)
        true_pa[0] = row[at.R_OIL_PA]
        true_pa[1] = row[at.R_SUCTION_PA]
        true_pa[2] = row[at.R_CRANKCASE_PA]
        read_all(oil, suction, crankcase, held, true_pa, now_s, noise, chance, place, inputs)
        least[0] = min(least[0], row[at.R_RESERVE])
        running = 1 if row[at.R_RUNNING] >= kernel.ON else 0
        wants = 1 if u[at.U_RUN] >= kernel.ON else 0
        counts[NEXT_SAMPLE] += 1
        if tick(time_ms[place], running, wants, values, memory, inputs, results, carry, counts) > 0:
            return STOPPED


def _compile() -> Any:
    """Return the compiled loop; its code is kept under the digests of all that it is made of."""
    offer(signals, integral, timers, conditions, table, outputs, protection, state, obeying)
    own = Path(__file__).read_text(encoding="utf-8")
    folder = code_folder(cache_folder().name, f"{kernel._DIGEST:x}", own)  # noqa: SLF001 - of the logic, the plant, this
    return machine_code.compiled(obey, folder, nogil=True, error_model="numpy", forceinline=True, _nrt=False)


def _compile_fill() -> Any:
    """Return the compiled form of `fill_draws`."""
    text = Path(__file__).read_text(encoding="utf-8")
    return machine_code.compiled(fill_draws, code_folder("fill", text), error_model="numpy")


compiled_obey, compiled_fill = functools.cache(_compile), functools.cache(_compile_fill)


class Running:
    """A machine under the protection, from the first sample of a case on: `run` it, `copy` it, give it other plans."""

    def __init__(self, case: Case, settings: Settings, key: int = 0, *, long_steps: bool = False) -> None:
        """Start the machine of a case, the logic powered up. key: of its draws; 0: those of the case itself."""
        self.case, self._key = case, np.uint64(key)
        self._draws = iter(()) if key else draws_of(case)
        self.p = case.parameters
        self._long_p = self.p.copy()
        self._long_p[at.P_STEP_S] *= LONG_STEPS
        self._long_p[at.P_SLOW_STEPS] = 1.0
        self._solubility = solubility_table(case.oil, case.refrigerant)
        self._plant = np.zeros(at.STATES + CHANNELS * SENSOR_STATES)
        self._words = np.zeros(WORDS, np.int64)
        self.least = np.ones(1)
        self._values = np.array(settings.values, np.int64)
        self._hold()
        self.follow(case.schedule.arrays())
        self.state[:] = first_state(case.machine, case.oil, case.refrigerant, case.schedule, case.start, self.p)
        self._long_steps = long_steps
        self.sense(case.chain)
        power_up(self.memory, self._values)  # type: ignore[arg-type] # which takes any array of integers
        self.carry[PERMITTED] = 1
        self._blocks = (np.zeros(BLOCK, np.int64), np.zeros((CHANNELS, BLOCK)), np.zeros((CHANNELS, BLOCK)))

    def _hold(self) -> None:
        """Make views of what is carried, and scratch."""
        self.state = self._plant[: at.STATES]
        self._held = self._plant[at.STATES :].reshape(CHANNELS, SENSOR_STATES)
        self.memory = self._words[:STATE_SIZE]
        self.carry = self._words[STATE_SIZE : STATE_SIZE + CARRY_SIZE]
        self.counts = self._words[STATE_SIZE + CARRY_SIZE :]
        self._inputs = np.zeros(at.INPUTS)
        self._scratch = (np.zeros(INPUTS_SIZE, np.int64), np.zeros(OUTPUTS_SIZE, np.int64), np.zeros(3))
        self._before = (np.zeros_like(self._plant), np.zeros_like(self._words))

    def sense(self, chain: SensorChain) -> None:
        """Read by this chain from now on."""
        self.chain = chain
        nothing = np.zeros(0)
        sensors = (chain.oil, chain.suction, chain.crankcase)
        self._sensors = tuple(nothing if sensor is None else sensor.parameters() for sensor in sensors)
        self.counts[PERIOD_MS], self.counts[JITTER_MS] = chain.period_ms, chain.jitter_ms
        still = any(its.stands_still for its in sensors if its is not None)
        fits = LONG_STEPS * self.case.step_s * 1000.0 < (ROOM - 2) * chain.period_ms
        self.counts[LONG] = self._long_steps and fits and not still

    def follow(self, plan: Plan) -> None:
        """Follow this plan from now on: arrays as `Schedule.arrays` gives them."""
        _, values, slopes, _ = plan
        moved = np.abs(slopes) * (self.p[at.P_STEP_S] * LONG_STEPS)
        self.plan = (*plan, np.asarray((moved <= GENTLE * np.abs(values)).all(axis=1)))
        self.state[at.S_SEGMENT] = UNREAD

    def begin_anew(self, at_ms: int, key: int) -> None:
        """Call the moment at_ms 0 and number samples and draws from there, under another key."""
        self.state[at.S_STEP] -= round(at_ms / 1000.0 / self.p[at.P_STEP_S])
        if self.state[at.S_ONSET_S] != at.NEVER:
            self.state[at.S_ONSET_S] -= at_ms / 1000.0
        self._held[:, H_TIME_S] -= at_ms / 1000.0
        for place in (LAST_TICK_MS, RESET_FROM_MS, RESET_TO_MS):
            self.counts[place] -= at_ms
        for place in (NEXT_SAMPLE, FIRST_DRAWN, DRAWN, AGAIN_STEP):
            self.counts[place] = 0
        self._key = np.uint64(key)

    def forget_damage(self) -> None:
        """Count spells that spoil bearings from here on."""
        self.state[at.S_SPELLS] = self.state[at.S_SPOILING] = 0.0

    def mend(self) -> None:
        """Put in new bearings."""
        clear_bearing(self.state, 1.0)

    def record(self, until_ms: int) -> Result:
        """Run on without a protection until a moment, noting every sample as read; times count from the first one's."""
        first, period = self.counts[NEXT_SAMPLE], self.counts[PERIOD_MS]
        drawn = np.zeros(COUNTS, np.int64)
        drawn[[FIRST_DRAWN, PERIOD_MS, JITTER_MS]] = first, period, self.counts[JITTER_MS]
        size = max(int(until_ms // period - first), 1)
        time_ms, noise, chance = np.zeros(size, np.int64), np.zeros((CHANNELS, size)), np.zeros((CHANNELS, size))
        compiled_fill()(self._key, drawn, time_ms, noise, chance)
        rows, seconds, channels = np.zeros((size, at.RECORDS)), time_ms / 1000.0, []
        times, values, slopes, steady, _ = self.plan
        arrays = (self.state, self.p, self._solubility, times, values, slopes, steady)
        kernel.compiled_record(*arrays, seconds, self._inputs, rows)
        for place, column in enumerate((at.R_OIL_PA, at.R_SUCTION_PA, at.R_CRANKCASE_PA)):
            readings, true_pa = np.zeros(size, np.int64), np.ascontiguousarray(rows[:, column])
            sensor = self._sensors[place]
            if sensor.size:
                compiled_read_trace(sensor, self._held[place], true_pa, seconds, noise[place], chance[place], readings)
            channels.append(readings if sensor.size else None)
        oil, suction, crankcase = channels
        assert oil is not None  # noqa: S101 - every chain has these two
        assert suction is not None  # noqa: S101
        begun_s = float(seconds[0])
        damage = self.damage
        spells = tuple(
            Spell(
                None if spell.starved_s is None else spell.starved_s - begun_s,
                tuple(None if time is None else time - begun_s for time in spell.times_s),  # type: ignore[arg-type]
            )
            for spell in damage.spells
        )
        return Result(time_ms - time_ms[0], rows, oil, suction, crankcase, replace(damage, spells=spells))

    def copy(self) -> Self:
        """Return the same machine at the same moment, which goes its own way."""
        other = copy.copy(self)
        vars(other).update({name: getattr(self, name).copy() for name in ("_plant", "_words", "least")})
        other._blocks = tuple(block.copy() for block in self._blocks)  # type: ignore[assignment] # noqa: SLF001 - its own
        other._hold()  # noqa: SLF001
        other.state[at.S_SEGMENT] = UNREAD
        return other

    def run(self, until_ms: int) -> bool:
        """Take every sample before until_ms; False: the machine was stopped at the last one taken, and waits there."""
        self.counts[UNTIL_MS] = until_ms
        while True:
            why = compiled_obey()(
                self._plant, self.state, self._held, self.p, self._long_p, self._solubility,
                *self.plan, self._inputs, np.zeros(at.RECORDS),
                *self._sensors, self._key, *self._blocks,
                self._values, self._words, self.memory, self.carry, self.counts, *self._scratch, self.least,
                *self._before,
            )  # fmt: skip
            if why != WANTS_DRAWS:
                return bool(why == REACHED)
            draws = next(self._draws, None)
            if draws is None:
                return True
            self._blocks = (draws.time_ms, draws.gaussian, np.ascontiguousarray(draws.chance))
            self.counts[FIRST_DRAWN] += self.counts[DRAWN]
            self.counts[DRAWN] = draws.time_ms.size

    def let_run(self, until_s: float) -> Damage:
        """Run on without a protection, reading nothing, and tell what the journals have suffered by then."""
        times, values, slopes, steady, _ = self.plan
        arrays = (self.state, self.p, self._solubility, times, values, slopes, steady)
        kernel.compiled_advance(*arrays, 1.0, until_s, self._inputs, np.zeros(at.RECORDS))
        return self.damage

    @property
    def last_tick_ms(self) -> int:
        """When the last sample was taken."""
        return int(self.counts[LAST_TICK_MS])

    @property
    def run_h(self) -> float:
        """For how many hours the machine ran under the protection."""
        return float(self.carry[RUN_MS]) / 3.6e6

    @property
    def period_ms(self) -> int:
        """From sample to sample."""
        return int(self.counts[PERIOD_MS])

    @property
    def now_s(self) -> float:
        """How far the plant has come."""
        return float(self.state[at.S_STEP] * self.p[at.P_STEP_S])

    @property
    def damage(self) -> Damage:
        """What the journals have suffered so far."""
        return damage_of(self.state)
