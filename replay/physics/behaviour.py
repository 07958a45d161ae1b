# ruff: noqa: RUF009 - fields, each made with what stands beside it
"""What may differ from machine to machine and from oil to oil, and was assumed or is the trade's usual figure.

A `Behaviour` holds one value of each; its defaults are those that the facts of the trade came out with, and beside each
stand the range in which a machine may lie, its unit and what stands behind it (`Told`). A case carries one, the kernel
reads it as parameters: another value needs no compiler, and can be drawn, stated in a machine file or fitted.

published         printed in a named source (fitted data and equations sit in their own modules)
common practice   what the trade reckons with; no source
assumed           chosen here so that the facts of the trade come out; nobody measured it

Ranges are assumed where the value is. What is no machine's own, and conventions, stand in `constants`.

How to add one: a field here; if the kernel reads it, a place `B_NAME` in `layout`, else a use in `model`.
"""

from dataclasses import dataclass, field, fields
from typing import Any, Literal, NamedTuple

Status = Literal["published", "common practice", "assumed"]
Range = tuple[float, float]
Column3 = tuple[float, float, float]  # pessimistic, likely and optimistic journal
Kind2 = tuple[float, float]  # crankpins, main bearings


class Told(NamedTuple):
    """What stands beside a value: its range, SI unit ('' for a share), status and one line of explanation.

    The range of several values holds for the likely or the first one; the others move with it.
    """

    low: float
    high: float
    unit: str
    status: Status
    text: str


def _assumed(value: Any, low: float, high: float, unit: str, text: str) -> Any:
    return field(default=value, metadata={"told": Told(low, high, unit, "assumed", text)})


def _usual(value: Any, low: float, high: float, unit: str, text: str) -> Any:
    return field(default=value, metadata={"told": Told(low, high, unit, "common practice", text)})


@dataclass(frozen=True)
class Behaviour:
    """One value of everything in `TABLE`."""

    # --- gas ------------------------------------------------------------------------------------------------------
    gas_temperature_k: float = _assumed(288.15, 263.15, 313.15, "K", "suction gas and crankcase gas, constant")
    valve_drop: float = _usual(0.02, 0.005, 0.06, "", "drop over the open suction valve, share of suction pressure")
    blow_by_share: float = _assumed(0.0005, 0.0, 0.02, "", "leakage past pistons and valves, share of the design flow")
    vent_drop: float = _assumed(
        0.01, 0.0, 0.05, "", "crankcase above suction at a gas release of a tenth of the design flow, share"
    )

    # --- oil and dissolved refrigerant ----------------------------------------------------------------------------
    oil_heat_j_kg_k: float = _usual(2000.0, 1600.0, 2500.0, "J/(kg K)", "heat capacity of the oil")
    casing_heat: float = _assumed(1.0, 0.3, 3.0, "", "heat capacity of the metal around the sump, shares of its oil's")
    evaporation_heat_j_kg: float = _usual(
        200e3, 100e3, 1500e3, "J/kg", "taken by refrigerant that leaves the oil, given by what enters it"
    )
    running_rise_k: float = _usual(25.0, 5.0, 50.0, "K", "oil over ambient in steady running")
    warming_time_s: float = _assumed(1800.0, 600.0, 5400.0, "s", "time constant of the sump's temperature")
    standing_share: float = _assumed(
        0.05, 0.01, 0.2, "", "release and absorption in an unstirred sump, share of the stirred rate"
    )
    circulation: float = _usual(0.004, 0.0005, 0.03, "", "oil carried with the refrigerant, share of its mass flow")
    return_time_s: float = _assumed(240.0, 60.0, 900.0, "s", "oil on its way round, at design flow")
    least_oil: float = _assumed(0.01, 0.005, 0.05, "", "share of the charge that cannot be lost")
    crankcase_oil_space: float = _assumed(
        3.0, 1.5, 6.0, "", "foam beyond this many oil charges of volume leaves with the gas"
    )
    foam_carry_1_s: float = _assumed(0.004, 0.001, 0.02, "1/s", "share of the foam beyond that leaving each second")
    coarsening_volumes: float = _assumed(
        3.0, 1.0, 10.0, "", "gas at one atmosphere released by a volume of oil that makes a foam coarse"
    )
    coarse_memory_s: float = _assumed(150.0, 40.0, 600.0, "s", "coarse bubbles are replaced by fine ones in this time")
    bubble_rise_s: float = _assumed(0.3, 0.1, 1.0, "s", "large bubbles of boiling oil on their way to its surface")

    # --- pump and pressure ----------------------------------------------------------------------------------------
    healthy_net_pa: float = _usual(138e3, 60e3, 500e3, "Pa", "held by the relief valve: about 20 psi")
    relief_span: float = _assumed(0.08, 0.02, 0.4, "", "rise over the setting with the whole flow through the relief")
    leakage_share: float = _assumed(
        0.35, 0.1, 0.7, "", "bearing leakage at healthy pressure and reference viscosity, share of the pump's sweep"
    )
    pin_share: float = _assumed(0.45, 0.15, 0.75, "", "share of that through the crankpins, above the floor pressure")
    slip_share: float = _assumed(0.08, 0.02, 0.25, "", "internal slip at the same point (goes by pressure/viscosity)")
    stuck_relief_pa: float = _assumed(
        4e3, 1e3, 20e3, "Pa", "left when the whole flow passes a relief valve stuck wide open"
    )
    screen_drop_pa: float = _assumed(
        1.5e3, 0.3e3, 6e3, "Pa", "clean suction screen at full flow and reference viscosity"
    )
    inlet_share: float = _assumed(
        0.9, 0.7, 0.98, "", "of the crankcase pressure, what can push oil into the pump before it cavitates"
    )
    capillary_pa: float = _assumed(
        10e3, 2e3, 40e3, "Pa", "a bubble grows from this tension on: 2 sigma/r of a site of 4 um at 0.02 N/m"
    )
    evolution_time_s: float = _assumed(
        0.05, 0.01, 0.3, "s", "gas due in the pump's suction line comes out in this time"
    )
    nucleation_time_s: float = _assumed(
        40.0, 5.0, 160.0, "s", "sites in the suction line wake in this time, and fall asleep again"
    )
    slug_from_cover: float = _assumed(
        1.3, 0.8, 1.45, "", "shares of its place from which on a pocket is drawn in as a slug"
    )
    slug_to_cover: float = _assumed(0.3, 0.1, 0.6, "", "what is left of it then clings again")
    pocket_limit: float = _assumed(1.5, 1.3, 3.0, "", "a larger pocket spills")
    gas_carried: float = _assumed(
        0.2, 0.05, 0.6, "", "of the volume that the pump could take of a pocket, what it does; the rest slips back"
    )
    seal_share: float = _assumed(
        0.15, 0.05, 0.4, "", "liquid in what the pump moves, from which on its clearances are sealed"
    )
    dry_intake: float = _assumed(0.1, 0.02, 0.3, "", "volume that a pump with dry clearances takes in, share of sweep")
    wet_suction: float = _assumed(
        0.5, 0.2, 0.8, "", "a pump with oil in its clearances draws this share of the absolute pressure"
    )
    dry_suction: float = _assumed(0.04, 0.01, 0.12, "", "with dry clearances")
    drying_time_s: float = _assumed(7.0, 2.0, 30.0, "s", "clearances run dry")
    wetting_time_s: float = _assumed(1.0, 0.3, 5.0, "s", "clearances are sealed again")
    wetting_void: float = _assumed(0.1, 0.03, 0.3, "", "foam of this void and more keeps the clearances wet")
    pressure_lag_s: float = _assumed(0.6, 0.2, 2.0, "s", "galleries filled with liquid")
    foam_lag_s: float = _assumed(2.0, 0.5, 6.0, "s", "added by oil full of bubbles")
    thick_oil_lag: float = _assumed(0.05, 0.01, 0.2, "", "growth of the lag with viscosity over the reference")
    inlet_level: float = _assumed(
        0.35, 0.25, 0.6, "", "the inlet begins to draw gas below this share of the oil charge"
    )
    dry_level: float = _assumed(0.2, 0.05, 0.24, "", "and draws nothing else below this one")
    acceleration_time_s: float = _usual(0.5, 0.2, 10.0, "s", "across-the-line start")
    coast_time_s: float = _assumed(1.2, 0.4, 6.0, "s", "coasting down")

    # --- bearings: of three columns, the first is a pessimistic journal, then a likely and an optimistic one --------
    # No measured time of a plain bearing that runs dry in a compressor was found. Published, read as web pages: oil
    # failure switches of the trade wait 90 to 120 s under about 9 psi (a trade paper, and a text on controls: about
    # 2 minutes) and machines are built to stand that; a starved film carries on with a fraction of its flow (Heshmat
    # and Pinkus 1985, J. Trib. 107:23; Heshmat and Artiles 1985, J. Trib. 107:1: abstracts only). So the likely journal
    # under rated load outlasts such a switch, and the pessimistic one (thin oil, wide clearance, rough or askew) does
    # not always: the band.
    lost_share: Column3 = _assumed(
        (0.0013, 0.00122, 0.00115), 0.0006, 0.0025, "", "of what leaves a film, what is not drawn in again: the minutes"
    )
    flung: float = _assumed(
        4.0, 1.0, 10.0, "", "leakage whatever the load, in units of r c N L as the side flow (which is 0 to 6)"
    )
    expelled: float = _assumed(4.0, 0.0, 12.0, "", "and as much more where gas coming out of oil leaves a void of 1")
    least_film_ratio: Column3 = _assumed(
        (0.13, 0.10, 0.07), 0.06, 0.2, "", "h0/c below which the surfaces touch (roughness, misalignment)"
    )
    # From dry friction of 0.1, 4 kN, 4.5 m/s: 1.8 kW into some 70 J/K of shell and skin of the journal are 25 K/s, and
    # the metal bears some 100 K.
    wipe_time_s: Column3 = _assumed((2.5, 3.0, 3.5), 1.0, 8.0, "s", "a fully touching, fully loaded journal is spoilt")
    # Volume over flow: some 0.5 to 1 l of strainer, gallery and drillings at 6 l/min.
    passage_time_s: Column3 = _assumed(
        (10.0, 8.0, 7.0), 2.0, 25.0, "s", "empty passages between pump and journal fill at healthy pressure"
    )
    passage_empties_s: float = _assumed(15.0, 5.0, 60.0, "s", "they run dry")
    fill_time_s: float = _assumed(
        3.0, 0.5, 10.0, "s", "oil at the journal fills it at healthy pressure; the clearance alone takes tenths of a s"
    )
    body_time_s: float = _assumed(240.0, 60.0, 900.0, "s", "a hot bearing cools into shaft and body")
    oil_time_s: float = _assumed(90.0, 20.0, 300.0, "s", "and into the oil that flows through it at healthy pressure")
    rated_load: Kind2 = _assumed(
        (1.0, 0.7), 0.7, 1.3, "", "specific load of crankpin and main bearing at the design point, share of the pin's"
    )
    idle_load: Kind2 = _assumed(
        (0.07, 0.08), 0.03, 0.2, "", "with pistons that compress nothing: inertia at the pin, weight of the rotor"
    )
    # assumed, in `bearing`: a film of oil R carries as if S were R^3 S (less oil, and it runs hotter)
    onset_share: float = _assumed(0.7, 0.4, 0.9, "", "of the relief setting: net oil pressure below begins a spell")
    spell_over_reserve: float = _assumed(
        0.999, 0.99, 0.9999, "", "a spell is over when the pessimistic journals have their oil back"
    )
    spell_over_heat: float = _assumed(0.05, 0.01, 0.1, "", "and are no hotter than this share of what spoils them")

    def __post_init__(self) -> None:
        """Raise ValueError where values contradict each other, so that no equation of the model holds."""
        for lower, upper in ORDERED:
            if not getattr(self, lower) < getattr(self, upper):
                raise ValueError(f"{lower} {getattr(self, lower)} must lie below {upper} {getattr(self, upper)}")
        if self.leakage_share + self.slip_share >= 1.0:
            raise ValueError("leakage_share and slip_share leave nothing of the pump's sweep for the relief valve")


ORDERED = (
    ("dry_level", "inlet_level"),
    ("slug_to_cover", "slug_from_cover"),
    ("dry_suction", "wet_suction"),
)
TABLE: dict[str, Told] = {its.name: its.metadata["told"] for its in fields(Behaviour)}
USUAL = Behaviour()
