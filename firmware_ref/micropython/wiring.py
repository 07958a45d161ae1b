"""From the pins to the protection and back: what runs on the board in every pass."""

import board
import display
import micropython
import saved
import sensors
import ticks
from machine import ADC, WDT, Pin

from protect import outputs, ranges, seal, state
from protect.saved import next_number


class Inputs:
    """The inputs of the board, read into the inputs array of a step."""

    def __init__(self) -> None:
        self.oil = ADC(Pin(board.OIL_PIN))
        self.suction = ADC(Pin(board.SUCTION_PIN))
        self.supply = ADC(Pin(board.SUPPLY_PIN))
        self.run = Pin(board.RUN_PIN, Pin.IN, Pin.PULL_UP)
        self.reset = Pin(board.RESET_PIN, Pin.IN, Pin.PULL_UP)

    def reading(self, converter: ADC, kind: str, ends: tuple[int, int]) -> int:
        """Return the absolute pressure (Pa) of one sensor, or NO_READING."""
        counts = converter.read_u16()
        if kind == "loop":
            return sensors.loop_pressure(sensors.loop_current(counts, board.LOOP_FULL_SCALE_UA), ends[0], ends[1])
        supply = self.supply.read_u16()
        return sensors.ratiometric_pressure(counts, supply, board.SUPPLY_COUNTS, ends[0], ends[1])

    def fill(self, inputs: list[int], elapsed: int) -> None:
        """Fill the inputs of a step; without a crankcase sensor suction pressure stands for it."""
        inputs[ranges.ELAPSED] = elapsed
        inputs[ranges.RUN_FEEDBACK] = 1 - self.run.value()
        inputs[ranges.RESET] = 1 - self.reset.value()
        inputs[ranges.OIL_PRESSURE] = self.reading(self.oil, board.OIL_KIND, board.OIL_KPA)
        suction = self.reading(self.suction, board.SUCTION_KIND, board.SUCTION_KPA)
        inputs[ranges.SUCTION_PRESSURE] = suction
        inputs[ranges.CRANKCASE_PRESSURE] = suction


class Controller:
    """One machine under protection. Raises ValueError, with the relay off, for settings that do not fit."""

    def __init__(self, settings: tuple[int, ...], now: int, digest: str) -> None:
        self.relay = Pin(board.RELAY_PIN, Pin.OUT, value=0)
        self.alarm = Pin(board.ALARM_PIN, Pin.OUT, value=1)
        if len(settings) != ranges.SETTINGS_SIZE:
            raise ValueError("settings of another version: export them again")
        self.settings, self.digest = settings, digest
        self.shown = [-1] * 4
        self.memory = [0] * state.STATE_SIZE
        self.results = [0] * outputs.OUTPUTS_SIZE
        self.inputs = [0] * ranges.INPUTS_SIZE
        self.seals = [0] * seal.SEALS_SIZE
        seal.seal_settings(settings, self.seals)
        self.pins = Inputs()
        self.record_number = saved.recall(board.RECORDS, settings, self.memory)
        seal.seal_state(self.memory, self.seals)
        self.saved_stop, self.saved_trips = self.stop(), self.memory[state.TRIPS]
        self.before = self.saved_at = now
        self.watchdog = WDT(timeout=board.WATCHDOG_MS)

    def run_pass(self, now: int) -> bool:
        """Take a step when it is due; return whether it was. Whatever goes wrong leaves the relay off."""
        elapsed = ticks.elapsed_ms(now, self.before)
        if elapsed < board.STEP_MS:
            return False
        self.before = now
        try:
            self.protect(elapsed)
            self.save_when_due(now)
            if display.changed(self.shown, self.results):
                board.show(display.line(self.results, self.digest))
        except Exception:
            self.relay.value(0)
            self.alarm.value(1)
            raise
        self.watchdog.feed()
        return True

    def protect(self, elapsed: int) -> None:
        """Read, decide, switch. With the heap locked a step that would allocate fails at once, not some day."""
        self.pins.fill(self.inputs, elapsed)
        micropython.heap_lock()
        try:
            seal.sealed_step(self.memory, self.settings, self.inputs, self.results, self.seals)
        finally:
            micropython.heap_unlock()
        self.relay.value(self.results[outputs.RUN_PERMISSION])
        self.alarm.value(self.results[outputs.ALARM])

    def save_when_due(self, now: int) -> None:
        """Save the state when a stop or a counted trip has come or gone, and from time to time.

        Not at every change of state: oil pressure that flutters would wear the flash out. And never with a
        broken seal: both records would soon hold what a memory fault made.
        """
        unchanged = self.stop() == self.saved_stop and self.memory[state.TRIPS] == self.saved_trips
        if unchanged and ticks.elapsed_ms(now, self.saved_at) < board.SAVE_MS:
            return
        if not seal.seals_hold(self.memory, self.settings, self.seals):
            return
        self.record_number = next_number(self.record_number)
        saved.save(board.RECORDS, self.record_number, self.settings, self.memory)
        self.saved_stop, self.saved_trips = self.stop(), self.memory[state.TRIPS]
        self.saved_at = now

    def stop(self) -> int:
        """Return the state while run permission is withdrawn, else 0."""
        if self.memory[state.STATE] >= state.TRIPPED:
            return self.memory[state.STATE]
        return 0
