"""Physics of a lubricated reciprocating refrigeration compressor, for traces whose labels come from the bearings.

A lumped model of one machine (gas, sump, pump, crankshaft, bearings) integrated at a fixed step and sampled through
modelled sensors. It knows nothing of the logic that will be judged on its traces.

Same arguments, same bytes on any machine: see `arithmetic`. Tables that need an equation of state or a film
solver are made once by `tabulate` and checked in.

How to add a family of traces: a function in `faults` that draws a case, or one in `harmless` or `starting` that does an
upset (`duty`), and its name in `families`. Its label comes from the bearings, whatever was meant. How to add a number:
in `constants`, or in `behaviour` if machines differ in it, with *published*, *common practice* or *assumed* beside it.
"""

from replay.physics.behaviour import Behaviour
from replay.physics.machines import MACHINES, OILS, REFRIGERANTS, Machine, Oil, Refrigerant
from replay.physics.model import Start, equilibrium_fraction
from replay.physics.schedule import Channel, Schedule
from replay.physics.sensors import NO_READING, Sensor, SensorChain
from replay.physics.simulate import Case, Damage, Plant, Result, Spell, simulate, simulate_many

__all__ = [
    "MACHINES",
    "NO_READING",
    "OILS",
    "REFRIGERANTS",
    "Behaviour",
    "Case",
    "Channel",
    "Damage",
    "Machine",
    "Oil",
    "Plant",
    "Refrigerant",
    "Result",
    "Schedule",
    "Sensor",
    "SensorChain",
    "Spell",
    "Start",
    "equilibrium_fraction",
    "simulate",
    "simulate_many",
]
