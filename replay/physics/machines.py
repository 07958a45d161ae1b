"""Machines, oils and refrigerants that the traces are made of. Every machine and oil here is invented.

Dimensions are those of no product; they are chosen within what such machines have. Healthy net pressure and the
shares that turn them into coefficients are in `behaviour`.
"""

from dataclasses import dataclass

from replay.physics.tables import LOG_SATURATION, PROPERTIES

FOAMING_FROM = 0.1
DISPERSED = 0.52  # published: where dispersed bubbles run together (Taitel, Barnea and Dukler 1980; from memory)
PACKED = 0.74  # published: densest packing of spheres (Kepler), where bubbles kept apart by their films touch


@dataclass(frozen=True)
class Machine:
    """One reciprocating compressor with its oil pump, crank drilling and crankpin journal."""

    name: str
    rated_speed_rpm: float
    displacement_m3_s: float  # at rated speed, all cylinders loaded
    clearance_ratio: float
    piston_area_per_pin_m2: float
    crankcase_volume_m3: float
    evaporator_volume_m3: float  # gas space between the liquid valve and the suction valve
    oil_charge_m3: float
    pump_sweep_m3_s: float  # at rated speed
    inlet_pocket_m3: float  # gas that covers the pump inlet
    inlet_lift_pa: float  # head from the oil level to the pump
    drilling_inlet_m: float  # r1, where oil enters the rotating drilling
    drilling_outlet_m: float  # r2, where it leaves at the crankpin
    journal_radius_m: float
    journal_length_m: float
    journal_clearance_m: float

    @property
    def length_to_diameter(self) -> float:
        """L/D of the crankpin journal, to 0.05: films are solved for each."""
        return round(20.0 * self.journal_length_m / (2.0 * self.journal_radius_m)) / 20.0


@dataclass(frozen=True)
class Oil:
    """A lubricant: viscosity and solubility, and how it gives up gas."""

    name: str
    ester: str  # whose solubility data are used
    viscosity_40_mm2_s: float
    viscosity_100_mm2_s: float
    density_kg_m3: float
    foam_share: float  # of the released gas, what stays as fine bubbles
    foam_life_s: float  # of fresh fine foam at the reference viscosity and pressure, before it grows coarse
    release_time_s: float  # off equilibrium to 1/e through the surface, stirred
    absorption_time_s: float
    held_volumes: float  # of gas at one atmosphere, what a volume of oil holds beyond equilibrium before it boils
    boil_time_s: float  # what is beyond that boils off to 1/e
    touching_void: float  # from which on bubbles in the suction line run together
    gathering: float  # of the gas beyond that, what gathers at the pump inlet
    solubility: tuple[tuple[float, ...], ...] = ()  # its own table for its refrigerant, where `ester` has none

    @property
    def foaming(self) -> bool:
        """Whether released gas stays as fine bubbles in earnest."""
        return self.foam_share > FOAMING_FROM


@dataclass(frozen=True)
class Refrigerant:
    """A refrigerant as the lumped gas equations need it; figures from CoolProp by `tabulate`."""

    name: str
    molar_mass_g_mol: float
    isentropic_exponent: float
    liquid_density_kg_m3: float
    liquid_viscosity_mm2_s: float
    log_saturation: tuple[float, ...]  # ln(p_sat/Pa) over the tables' temperatures


# One row a machine, an oil, a refrigerant.
# fmt: off
MACHINES = {machine.name: machine for machine in (
    Machine("granite", 1450.0, 0.055, 0.035, 0.0127, 0.040, 0.30, 0.011, 2.0e-4, 1.0e-4, 2.6e3,
            0.010, 0.055, 0.0300, 0.0600, 30e-6),
    Machine("basalt", 1750.0, 0.040, 0.040, 0.0100, 0.030, 0.25, 0.008, 1.5e-4, 0.8e-4, 2.4e3,
            0.009, 0.0442, 0.0260, 0.0520, 26e-6),
    Machine("pebble", 1750.0, 0.012, 0.045, 0.0028, 0.009, 0.08, 0.0025, 0.5e-4, 0.3e-4, 1.6e3,
            0.004, 0.022, 0.0160, 0.0160, 12e-6),
    Machine("shale", 1450.0, 0.016, 0.040, 0.0034, 0.012, 0.10, 0.0032, 0.6e-4, 0.35e-4, 1.8e3,
            0.004, 0.026, 0.0180, 0.0180, 13e-6),
)}

OILS = {oil.name: oil for oil in (
    Oil("still-68", "PEC9", 68.0, 8.7, 945.0, 0.01, 0.3, 350.0, 900.0, 3.6, 4.0, DISPERSED, 0.5),
    Oil("still-32", "PEB8", 32.0, 5.4, 955.0, 0.02, 0.3, 320.0, 900.0, 3.6, 4.0, DISPERSED, 0.5),
    Oil("foaming-68", "PEC9", 68.0, 8.7, 945.0, 0.7, 600.0, 350.0, 600.0, 0.0, 12.0, PACKED, 0.25),
    Oil("foaming-32", "PEB8", 32.0, 5.4, 955.0, 0.7, 600.0, 320.0, 600.0, 0.0, 12.0, PACKED, 0.25),
)}

REFRIGERANTS = {
    name: Refrigerant(name, mass, exponent, density, viscosity, tuple(LOG_SATURATION[name]))
    for name, (mass, exponent, density, viscosity) in PROPERTIES.items()
}
