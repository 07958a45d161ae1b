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
    "replay.score.verdict": {"MOMENT_S": 0.001, "SEVERITY": ("missed", "early", "hit", "stood")},
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
        "FAR": 1e9,
        "ACCEPTANCE": {
            "max_missed": (0, 1_000_000), "max_nuisance_per_1000h": (0.0, 1e6), "confidence": (0.5, 0.9999),
            "max_missed_probability": (0.0001, 0.9999), "min_margin_coverage": (0.0001, 0.9999),
            "max_nuisance_probability": (0.0001, 0.9999),
        },
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
        "NOTE": 9, "MS_PER_H": 3600000,
    },
    "replay.triage.kernel": {"DAY_MS": 86_400_000, "SETTLED_MS": 60_000},
    "replay.triage.obeyed": {"RESET_AFTER_MS": 3_600_000, "PRESSED_MS": 1_800_000},
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
        "HOT_C": 150.0, "ALONE": 0.1, "NOTHING_PA": 5000,
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
        "LONG_STEPS": 50, "GENTLE": 0.002, "SETTLED": 0.01, "SETTLED_PA": 500.0, "BLOCK": 1024, "ROOM": 128,
        "FLAT": 0.001, "STANDING": 1e-09,
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
    # What a machine's readings may be, and what is told of a file that holds none.
    "replay.trace.rows": {"LEAST_ROWS": 2, "MOST_HOLD_S": 2_592_000.0, "LAST_TIME_S": 1e11},
    "replay.trace.files": {
        "UNPACKED_MOST": 1 << 28, "UNPACKED_RATIO": 500, "LONGEST_LINE": 1 << 16, "CSV_ROW": 28, "PARQUET_ROW": 7,
        "SMALL_OBJECT": 1 << 20, "KEPT_OBJECTS": 1 << 26,
    },
    "replay.trace.trace": {"LONG": 2000000},
    # How logs are read: what a number, a time, a unit or a shape is taken for.
    "replay.measured.assemble": {
        "HOUR_MS": 3600000, "LEAST_ROWS": 2, "MOST_GAPS": 10000, "LEAST_STARTS": 6, "MOST_STARTS_PER_H": 12,
        "MOST_PLACES": 20, "HALF_DAY_MS": 43_200_000,
    },
    "replay.measured.candidates": {"FEW_WORDS": 8},
    "replay.measured.cells": {
        "SUSPECTS": (-1.0, -99.0, -99.9, -999.0, -999.9, -999.99, -9999.0, -9999.9, -99999.0, -32768.0, -32767.0,
        -3276.8, -1e+30, 999.0, 999.9, 9999.0, 9999.9, 99999.0, 999999.0, 32767.0, 3276.7, 65535.0, 6553.5, 655.35,
        1e+30),
    },
    "replay.measured.channels": {"ABSOLUTE_ZERO_C": -273.15},
    "replay.measured.clock": {
        "DAY_MS": 86_400_000, "HOUR_MS": 3_600_000, "SERIAL_DAY_ZERO_MS": -2_209_161_600_000, "FARTHEST_MS": 1e15,
        "EPOCH_S": (9e8, 2.84e9), "EPOCH_FACTORS": {1.0: 1000.0, 1000.0: 1.0, 1000000.0: 0.001, 1000000000.0: 1e-06},
        "TWO_DIGIT_YEARS": 100, "DAYS": 31, "MOST_MONTH": 12, "LEAST_STEPS": 15,
    },
    "replay.measured.dialect": {
        "SAMPLE_BYTES": 65536, "LONGEST_LINE": 65536, "TAIL": 80, "LEAST_COLUMNS": 2, "READINGS_ABOVE": 5,
        "MOST_ABOVE": 40,
    },
    "replay.measured.guess": {"MOST_ODD": 4},
    "replay.measured.guess_machines": {"DOUBLED": 0.05},
    "replay.measured.guess_signals": {"CONTRADICTED": 0.01, "HARDLY": 1.0, "MOSTLY_GOOD": 0.5, "MOST_PLAIN": 2500},
    "replay.measured.guess_time": {
        "STEPS_IN_A_GAP": 3, "LEAST_STEPS": 20, "MADE_S": 2.0, "MOST_TIMES": 0.9, "EVEN": 0.2, "UNEVEN": 5.0,
        "MOSTLY": 0.7, "RARELY": 0.02, "LEAP_MS": 1_728_000_000, "GOES_ON_MS": 3_600_000, "SERIAL_DAYS": (36526, 73051),
    },
    "replay.measured.importing": {"MOST_WORDS": 20},
    "replay.measured.into_library": {"CSV_ROWS": 100000, "GROUP_ROWS": 1 << 18},
    "replay.measured.long_form": {"MOST_OTHER": 0.02},
    "replay.measured.long_look": {"TAGS": (2, 2000), "MOST_COLUMNS": 10},
    "replay.measured.look": {"FAR": 50000},
    "replay.measured.machines": {"MOST_MACHINES": 200},
    "replay.measured.mdf_blocks": {"MOST_UNPACKED": 1 << 26, "MOST_CHECKED": 1 << 20},
    "replay.measured.profile_keys": {"MAX_GAP_MS": (1, 86_400_000), "MOST_HOLD_MS": 2_592_000_000},
    "replay.measured.saturation": {"KELVIN": 273.15, "STEP_K": 0.05},
    "replay.measured.text_layout": {"LEAST_FALLS": 2},
    "replay.measured.unit_text": {"NEAR": 1e-06},
    "replay.measured.workbooks": {"LEAST_ROWS": 3, "LEAST_NUMBERS": 2},
    # How a run ended, to whoever reads the status alone; how long is waited for others.
    "replay.cli.group": {"REFUSED": 2, "UNFORESEEN": 70, "INTERRUPTED": 130, "UNREAD": 141, "ENDED": 143},
    "replay.cli.tune": {"NOT_JUDGED": 3},
    "replay.ground.lock": {"PATIENCE_S": 30.0, "STEP_S": 0.02},
    "replay.engine.workers": {
        "PATIENCE_S": 30, "RETRIES": 3, "MOST_JOBS": 256, "LOOK_S": 0.5, "WITHOUT_WORKERS_S": 10.0, "CLOSING_S": 3.0,
        "PORTION": 0.25, "LEAST_PORTION": 0.015625,
    },
    # What is too large, and what is told of it.
    "replay.ground.json_files": {"MOST_BYTES": 1 << 30},
    "replay.ground.places": {"MOST_BYTES": 1 << 36},
    "replay.ground.toml_files": {"MOST_BYTES": 1 << 24, "LIBRARY_BYTES": 1 << 30},
    "replay.ground.refusal": {"LONGEST": 80, "LONGEST_PART": 900},
    "replay.library.label_files": {"MOST_BYTES": 1 << 28},
    "replay.library.library": {"MOST_NAMED": 3},
    # What is held beside the settings, from when machine code pays, what a port is asked.
    "replay.engine.scan": {
        "CUT_OUT_SHARES": (0.25, 0.5, 0.65, 0.8, 0.9, 1.0, 1.1, 1.25, 1.5, 2.0), "DELAYS_MS": (5000, 10000, 20000,
        30000, 45000, 60000, 90000, 120000, 150000, 180000, 240000, 360000), "NEVER": -1,
    },
    "replay.engine.compiled": {"PAYS_FROM": 8000, "PAYS_FROM_COMPILING": 40000},
    "replay.port.conform": {"BOOT_LINES": 100, "MOST_SHOWN": 20},
    "replay.port.links": {"TIMEOUT_S": 10.0, "BAUD": 115200, "LONGEST": 4096},
    "replay.port.cortex_m": {"TIMEOUT_S": 60, "MOST_STEPS": 1800, "KNOWN": (1001, 3001)},
    "replay.port.vectors": {
        "SEED": 27, "DRAWN_CHECKS": 40, "STORIES": 12, "MIDDLE": {"cut_out": 62000, "cut_in": 83000, "floor": 30000,
        "trip_delay": 12000, "floor_weight": 4096, "vacuum_weight": 3072, "recovery": 1024, "stopped_recovery": 512,
        "vacuum": 84000, "reload": 120000, "reload_fraction": 1024, "start_grace": 3000, "restart_delay": 5000,
        "trips_to_lockout": 3, "trip_memory": 60000, "oil_least": 0, "oil_most": 2000000, "suction_least": 0,
        "suction_most": 1500000, "max_gap": 3000, "stuck_after": 30000, "fault_delay": 5000, "rest_settle": 2000,
        "rest_most": 20000, "reset_hold": 1000, "resets_most": 2},
    },
    # How machines that obey are stepped.
    "replay.synth.libraries": {"MANY": 100000, "LABELLED_OVER": 8},
    # What is shown of much.
    "replay.display.course": {"MOST_CHANGES": 2000, "LEAST_LEFT_S": 60.0},
    "replay.display.forecast": {"RARE": 0.001},
    "replay.display.guarantee": {"ROUND": 10},
    "replay.display.imported": {"FULL": 10, "SHOWN_TRACES": 20, "SHOWN_REASONS": 10, "SHOWN_PLACES": 6},
    "replay.display.score": {"ALWAYS_PER_1000H": 1000000.0, "MOST_NAMED": 5, "MOST_UNDECIDED": 20},
    "replay.display.settings": {"DURATIONS": ((86400000, "d"), (3600000, "h"), (60000, "min"), (1000, "s"))},
    "replay.display.terminal": {"LEAST_WIDTH": 72, "TEXT_WIDTH": 80, "WIDE": 120, "HEAD_LINES": 3, "MANY": 500, "PIPED": 2000},
    "replay.display.triage": {"DAY_S": 86400.0, "HOUR_S": 3600.0, "QUIET": 5},
    "replay.display.tuning": {"MOST_ROWS": 20},
    "replay.page.bench": {"MOST_READINGS": 2000000},
    "replay.page.labelling": {"MOST_ROWS": 4000, "MOST_CHANGES": 400, "MEMBERS": 8},
    "replay.report.contents": {"WORST": 10, "MOST_CHANGES": 40},
    "replay.report.fleet": {"MOST_FILES": 40, "MOST_NAMES": 8, "MOST_REASONS": 2, "QUIET": 5, "LEAST_WEEKS": 2},
    # Days and lost time of a log.
    "replay.triage.days": {"EPOCH": 719163, "WEEK": 7},
    "replay.triage.findings": {"LEAST_LOST_MS": 300000},
    "replay.ground.zones": {"MINUTE_MS": 60_000},
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
