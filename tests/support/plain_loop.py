"""The closed loop told plainly: physics and logic called sample by sample in Python, to hold the compiled loop against."""

from collections.abc import Iterator

import numpy as np

from protect.ranges import INPUTS, NO_READING, OIL_PRESSURE
from replay.engine.portable import Machine
from replay.physics import layout
from replay.physics.sensors import NO_READING as NOTHING_READ
from replay.physics.sensors import SENSOR_STATES, Draws, read_sensor
from replay.physics.simulate import Case, Plant, draws_of
from replay.settings import Settings

PRESSURES = (layout.R_OIL_PA, layout.R_SUCTION_PA, layout.R_CRANKCASE_PA)


def obey(case: Case, settings: Settings) -> tuple[Machine, Plant, float, int]:
    """Run one machine under the protection.

    Returns the logic and the plant at the end, the least film reserve of the
    likely journal, and how often the machine started again after a stop.
    """
    logic, plant = Machine(settings), Plant(case)
    sensors = [sensor for sensor in (case.chain.oil, case.chain.suction, case.chain.crankcase) if sensor]
    channels = [
        (channel, sensor.parameters(), np.zeros(SENSOR_STATES), place)
        for channel, (sensor, place) in enumerate(zip(sensors, PRESSURES, strict=False))
    ]
    least, restarts, stopped, before = 1.0, 0, 0, 0
    for number, time_ms, draws in _samples(case):
        row = plant.advance(time_ms / 1000.0, permission=logic.permitted)
        readings = [
            _admitted(
                read_sensor(
                    sensor,
                    held,
                    row[place],
                    time_ms / 1000.0,
                    draws.gaussian[channel, number],
                    draws.chance[channel, number],
                )
            )
            for channel, sensor, held, place in channels
        ]
        running = int(row[layout.R_RUNNING])
        # Without a sensor at the crankcase the last one is that of suction, which stands for it.
        logic.tick(time_ms, time_ms - before, running, 0, readings[0], readings[1], readings[-1])
        before = time_ms
        least = min(least, float(row[layout.R_RESERVE]))
        if running and len(logic.stops) > stopped and logic.permitted:
            restarts += 1
            stopped = len(logic.stops)
    return logic, plant, least, restarts


def _samples(case: Case) -> Iterator[tuple[int, int, Draws]]:
    """Yield (place in the draws, ms, draws) of each sample of a case."""
    for draws in draws_of(case):
        for number, time_ms in enumerate(draws.time_ms.tolist()):
            yield number, time_ms, draws


def _admitted(reading: int) -> int:
    """Return a reading as the logic takes it: what no sensor can say is no reading."""
    _, _, least, most = INPUTS[OIL_PRESSURE]
    return reading if reading != NOTHING_READ and least <= reading <= most else NO_READING
