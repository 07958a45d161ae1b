"""The numbers that a verdict, a finding or a label rests on, stated once more.

Most of them are assumed or common practice, as is said beside each in its module, so that no computation contradicts
another value: a bound that was moved on the way would judge otherwise without a word. Who means to move one says so here
too, and in `replay/guides/changes.md` where old records then come out otherwise.
"""

import tomllib
from dataclasses import astuple
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

from replay.machine.keys import FIGURES
from replay.physics.befalling import PER_YEAR
from replay.physics.behaviour import TABLE, USUAL
from replay.physics.days import Duty
from replay.physics.machines import MACHINES, OILS

STATED = tomllib.loads(Path(__file__).with_name("stated_ranges.toml").read_text(encoding="utf-8"))

NUMBERS: dict[str, dict[str, Any]] = {
    # What a stop belongs to; what a library tells twice, and which readings are doubted by their size.
    "replay.score.windows": {"AGAIN_S": 600.0, "AFTER_S": 300.0},
    "replay.score.scoring": {"MOMENT_S": 0.001, "SEVERITY": ("missed", "early", "hit", "stood")},
    "replay.score.once": {
        "WINDOW": 16, "LIVELY": 14, "LEAST_ROWS": 64, "SHARED": 4, "SPARSE": 8, "SAME_S": 1.0, "SELDOM": 0.02,
        "LEAST_KPA": 20.0, "MOST_KPA": 6000.0, "MOSTLY": 0.5,
        "PSI_LEAST_NET": 8.0, "PSI_MOST_NET": 60.0, "PSI_MOST": 160.0,
    },
    "replay.score.comparison": {
        "BOOTSTRAP_SEED": 1,
        "RANKS": ("met", "not enough evidence", "not met"),
        "LOOSER": {
            "max_missed": 1, "max_nuisance_per_1000h": 1, "min_margin_s": -1, "confidence": -1,
            "max_missed_probability": 1, "min_margin_coverage": -1, "max_nuisance_probability": 1,
        },
    },
    "replay.score.evidence": {"SHOWN_COVERAGE": 0.9},
    "replay.ground.statistics": {"BOOTSTRAP_SAMPLES": 9999},
    "replay.settings.file": {
        "REST_SETTLE_MS": 30_000, "REST_MOST_PA": 35_000, "REST_MOST_OF_CUT_OUT": 0.75, "RESET_HOLD_MS": 1000,
        "RESETS_MOST": 3, "MAX_MISSED_PROBABILITY": 0.1, "MIN_MARGIN_COVERAGE": 0.9, "SHOWN_CONFIDENCE": 0.95,
        "ALTITUDE_M": (-500.0, 5000.0),
    },
    # What is chosen, and how far sensors and settings are moved to find what it stands.
    "replay.tuning.judge": {"ORDER": ("met", "not enough evidence", "not met")},
    "replay.tuning.levers": {"PERIOD_REACH_MS": 30_000.0, "POINTS": 12},
    "replay.tuning.robustness": {"ROUNDS": 6},
    "replay.tuning.tolerance": {"MOST_PA": 1_000_000, "MOST_GAIN": 0.5, "MOST_LAG_S": 600.0},
    # What logs reveal.
    "replay.triage.doubts": {
        "NEXT": 1, "WATCH": 2, "CHECK": 3, "CANNOT_TELL": 4, "ZERO_PA": 20_000, "DRIFT_PA": 10_000,
        "SMALL_ZERO_PA": 5_000, "FALL": 0.15, "LEAST_DAY_MS": 600_000, "LEAST_REST_MS": 60_000, "STARTS_PER_H": 12.0,
        "LEAST_STARTS": 12, "NEVER_LEAST": 3, "NEVER_SHARE": 0.05, "SHARE": 0.8,
    },
    "replay.triage.kernel": {"DAY_MS": 86_400_000, "SETTLED_MS": 60_000},
    "replay.triage.obeyed": {"RESET_AFTER_MS": 3_600_000},
    "replay.triage.overlaps": {"ROUNDED_PA": 1000, "FEW": 0.02, "BOUNDARY": 2},
    "replay.triage.periods": {"SLOWER": 1.5, "MOVED_PA": 10_000},
    "replay.triage.trends": {"LEAST_DAYS": 5, "CONFIDENCE": 0.95},
    "replay.triage.clock": {"UNIX_TIME_S": (946_684_800.0, 4_102_444_800.0)},
    # What people say of traces.
    "replay.library.agreement": {"CONFIDENCE": 0.95},
    "replay.library.words": {"AGREE": 0.5},
    # What is doubted of an import, and said first.
    "replay.measured.losses": {"MUCH": 0.2},
    "replay.measured.threshold": {
        "BINS": 50, "RARE": 0.002, "LEAST_GAP": 5, "LEAST_ROWS": 20, "LEAST_SHARE": 0.01, "LEAST_HUMP": 5,
        "NEAR_ZERO": 0.2, "ON_AT": 1 / 3, "OFF_AT": 1 / 6,
    },
    "replay.measured.doubts": {
        "FLAT_MS": 60_000, "FLAT_ROWS": 10, "NEAR_ATMOSPHERE": 0.12, "NEAR_PA": 3000, "CLIPPED_SHARE": 0.01,
        "NO_OIL_PA": 20_000, "OIL_PA": 50_000, "INVERTED": 0.7, "MOSTLY": 0.5, "LEAST_PA": 20_000, "MOST_PA": 6_000_000,
        "HOT_C": 150.0, "ALONE": 0.1,
    },
    # What machine-years count.
    "replay.forecast.rates": {"CONFIDENCE": 0.95, "NARROW": 0.2, "DEVIATIONS": 1.96},
    "replay.forecast.year": {
        "ONWARD_S": 3600.0, "AFTER_S": 3600.0, "LEAST_SAMPLED": 8.0, "COASTING_MS": 10_000, "PRESS_MS": 5000,
    },
    "replay.forecast.keeping": {"BEFORE_MS": 600_000, "AFTER_MS": 1_200_000},
    "replay.physics.days": {
        "DAY_S": 86_400.0, "DAYS": 365, "YEAR_H": 8760.0, "LEAST_CYCLE_S": 150.0, "HEAD_PER_K": 1.028, "CONDENSING_C": 25.0,
        "HEAD_OVER_LOAD": 1.1, "DEFROST_S": 420.0, "SLOWEST": 0.6, "OIL_C": (42.0, 52.0),
    },
    # What a fit tells.
    "replay.fitting.measuring": {
        "MACHINES": 96, "TRIES": 4, "NEAREST": 8, "ALIKE": 7, "WAYS": 6, "RIDGE": 0.3, "BEGIN_S": 60.0, "END_S": 900.0,
        "SHUT_S": 240.0, "LONGER_S": 600.0, "DRY_MIN": (4.0, 8.0, 16.0), "LEVELS": (0.5, 0.3), "HELD": 1.1, "SURE": 10.0,
    },
    "replay.fitting.belonging": {"DRAWN": 60, "NEAR": 0.08, "STOOD_S": 60.0, "UP": 0.5},
    "replay.fitting.sensitivity": {"FACTORS": (0.7, 1.3)},
    "replay.fitting.holdout": {"LEVELS_PSI": (4.5, 7.0, 9.0), "COVERED": 0.9},
    "replay.fitting.words": {"OFF_PA": 10e3, "SIZES": 4.0, "LEAST_S": 5.0, "MOST_TOLD": 3},
    "replay.machine.keys": {
        "TABLE_C": (-40.0, 100.0), "MOST_POINTS": 1000, "LEAST_PA": 1000.0, "VISCOSITY_C": (-40.0, 150.0),
        "LEAST_VISCOSITY_MM2_S": 2.0, "LEAST_SPAN_K": 20.0,
    },
    "replay.physics.viscosity": {"ZERO_CELSIUS_K": 273.15, "WALTHER_OFFSET_MM2_S": 0.7, "PLAIN_FORM_FROM_MM2_S": 2.0},
    "replay.machine.limits": {
        "AGREE": 0.05, "LEAST_COMPRESSIBILITY": 0.8, "LEAST_RATIO": 1.3, "LEAST_EFFICIENCY": 0.1,
        "MOST_FLOOR_SHARE": 0.8, "CLEARANCE_RATIOS": (0.0003, 0.004), "MOST_CONSTANT": 1e5, "MOST_OFF": 0.25,
    },
    # What labels of made traces rest on.
    "replay.physics.families": {
        "STOPPING_ALLOWANCE_S": 3.0, "HARMLESS_S": 900.0, "UPSETS_PER_HOUR": 4.0, "OPEN_END_RESERVE": 0.8,
        "EDGE_RESERVE": 0.4, "EDGE_HEAT": 0.3, "CLEAR_RESERVE": 0.8, "CLEAR_HEAT": 0.1, "TOLERANCE_S": 2.0,
        "TOLERANCE": 0.02, "HALVINGS": 3,
    },
    "replay.physics.agreeing": {"AGREE": 0.95, "EARLY": 0.1, "LATE": 0.9},
    "replay.physics.constants": {
        "GAS_CONSTANT_J_KMOL_K": 8314.46261815324, "ATMOSPHERE_PA": 101_325.0, "CHOKE_RATIO": 0.5, "MINIMUM_PRESSURE_PA": 500.0,
        "LARGEST_FRACTION": 0.45, "REFERENCE_VISCOSITY_PA_S": 0.015, "FOAM_PRESSURE_PA": 100e3, "COOL": 0.001,
    },
    "replay.physics.gas": {"SERIES_REACH": 0.01},
    "replay.physics.sump": {
        "FIRST_TEMPERATURE_K": 233.15, "TEMPERATURE_STEP_K": 10.0, "FRACTION_STEP": 0.025, "TURNING": 0.05,
    },
    "replay.physics.bearing": {"STANDING": 0.05},
    "replay.physics.kernel": {"ON": 0.5},
    # What traces and years are drawn from, beside the ranges of stated_ranges.toml.
    "replay.physics.drawing": {
        "EVAPORATING_C": (-20.0, -2.0), "LEAST_SUCTION_PA": 150e3, "MOST_DISCHARGE_PA": 1200e3, "LOAD_RATIO": (1.5, 2.1),
        "HEATER_K": 20.0, "SPEED_SHARE": (0.94, 1.0), "UNLOADING": (0.34, 0.5, 0.67), "PERIODS_MS": (500, 1000),
        "SEASONS": (
            ((17.0, 25.0), (30.0, 46.0)), ((20.0, 30.0), (36.0, 54.0)), ((20.0, 30.0), (36.0, 54.0)), ((27.0, 36.0), (46.0, 60.0)),
        ),
        "CRANKCASE_SHARE": 0.25, "SOUND_SHARE": 0.7, "SECOND_SHARE": 0.25, "SET_UP_WRONGLY_SHARE": 0.02,
    },
    "replay.physics.duty": {"LEAD_S": 60.0, "QUIET_S": 60.0, "DUTY_GAP_S": (60.0, 400.0), "DUTY_LONGEST_S": 430.0},
    "replay.physics.starting": {
        "NIGHT_S": (28_800.0, 50_400.0), "SETTLED_S": 180.0, "STANDING_AT_LEAST_S": 200.0, "NIGHT_SHARE": (0.6, 0.95),
        "FULL_SUMP": 0.36, "START_LONGEST_S": 400.0,
    },
    "replay.physics.befalling": {"SENSOR_LONG_S": 1800.0},
    "replay.synth.loop": {
        "LONG_STEPS": 50, "GENTLE": 0.002, "SETTLED": 0.01, "SETTLED_PA": 500.0, "BLOCK": 1024, "ROOM": 128, "FLAT": 0.001,
    },
    "replay.physics.model": {"STEP_S": 0.1, "SLOW_S": 0.5, "SETTLE_S": 30.0},
    "replay.physics.sensors": {
        "NO_READING": -2_147_483_648, "SIGNAL_LOW": -0.0125, "SIGNAL_HIGH": 1.03125, "BROKEN": -0.25, "SHORTED": 1.125, "GROSS_OFFSET_PA": 20e3,
        "STILL_DIGITS": 2.5,
    },
    # Units.
    "replay.ground.units": {"STANDARD_ATMOSPHERE_PA": 101_325.0, "PSI_PA": 6894.757293168361, "INHG_PA": 3386.388640341},
    "replay.ground.wording": {"MS_PER_MIN": 60_000, "MS_PER_H": 3_600_000},
    "replay.triage.exposure": {"PER_H": 1000.0, "MS_PER_H": 3.6e6},
}  # fmt: skip


@pytest.mark.parametrize("module", NUMBERS)
def test_a_number_that_decides_is_the_one_that_is_stated(module: str) -> None:
    """Catches a bound, a unit or a seed that was moved without anybody saying so."""
    found = import_module(module)

    assert {name: getattr(found, name) for name in NUMBERS[module]} == NUMBERS[module]


def listed(value: Any) -> Any:
    """Return a value as TOML has it: a tuple is a list."""
    return [listed(one) for one in value] if isinstance(value, tuple) else value


def test_what_may_differ_from_machine_to_machine_is_what_is_stated() -> None:
    """Catches a usual value or an end of its range that was moved: labels, draws and fits would come out otherwise."""
    found = {name: [listed(getattr(USUAL, name)), told.low, told.high] for name, told in TABLE.items()}

    assert found == STATED["behaviour"]


def test_what_a_machine_file_may_state_and_what_is_drawn_where_it_does_not_is_what_is_stated() -> None:
    """Catches a bound or a drawn range that was moved: another machine would be admitted, or drawn."""
    found = {
        path: [row.least, row.most, *((row.drawn.low, row.drawn.high, row.drawn.of) if row.drawn else ())]
        for path, row in FIGURES.items()
        if row.section != "behaviour" or row.key == "spread"
    }

    assert found == STATED["keys"]


def test_invented_machines_and_oils_are_those_that_are_stated() -> None:
    """Catches a dimension that was moved or mixed up with its neighbour."""
    assert {name: listed(astuple(machine)[1:]) for name, machine in MACHINES.items()} == STATED["machines"]
    assert {name: listed(astuple(oil)[1:-1]) for name, oil in OILS.items()} == STATED["oils"]


def test_a_year_is_made_of_what_is_stated() -> None:
    """Catches a rate or a duty that was moved: every nuisance and every missed fault of a year would be counted otherwise."""
    assert dict(PER_YEAR) == STATED["per_year"]
    assert {name: listed(value) for name, value in vars(Duty()).items()} == STATED["duty"]
