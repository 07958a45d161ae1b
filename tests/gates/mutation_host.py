"""Slips in the host side, each planted by itself in a copy of the checkout, against the tests that state what it breaks.

`PLAN` says for each part of the host side which tests are to find its slips, those that are likeliest to first. First come
the slips of named_slips.toml, which passed every test once, then a sample of all that slips.py makes of the files, or with
the campaign `slips` all of them, days of one core. What survives has to stand in equivalent_host.toml with the reason, named by
its text. Python stays interpreted where that is sooner done than machine code made anew for each slip (`COMPILED`).
"""

import compileall
import contextlib
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

from tests.gates.port import Verdict
from tests.gates.reasons import Change, judged, reasons
from tests.gates.slips import Slip, slips

ROOT = Path(__file__).parents[2]
EQUIVALENT = Path(__file__).with_name("equivalent_host.toml")
NAMED = Path(__file__).with_name("named_slips.toml")
COPIED = ("firmware_ref", "fixtures", "protect", "replay", "tests", "pyproject.toml", "README.md", "DEVELOPERS.md")
SAMPLE, SEED = 40, 1
PLAIN_S, PLANTED_S = 1200.0, 300.0  # how long the tests of a part may take with nothing planted, and with a slip
COMPILED = ("sweep", "measuring", "forecast")  # parts that take too long without machine code
SLOW_INTERPRETED = ("labels_stand_as_the_step_is_halved", "a_generated_label_is_the_settled_one")
FATES = ("killed", "timeout", "survived")

GASES = (
    "limiting_vacuum_is_clearance_ratio_to_the_exponent", "solubility_constants_are_those_of_the_source",
    "solubility_meets_the_published_data", "activity_without_interaction_is_the_entropic_limit",
    "viscosity_follows_astm_d341",
    "floor_pressure_is_the_rotating_head", "effective_pressure_vanishes_at_the_limiting_vacuum_and_matches_the_ideal_cycle",
)  # fmt: skip
QUICK = "-mnot slow"

NUMBERS = "tests/judge/test_stated_numbers.py"
# Part of the host side -> its files in replay/, and the tests that state what they do.
Plan = dict[str, tuple[tuple[str, ...], tuple[str, ...]]]
PLAN: Plan = {
    "verdict": (
        (
            *("score/scoring.py", "score/verdict.py", "score/judgement.py", "score/windows.py", "score/evidence.py"),
            *("score/mix.py", "score/explaining.py"),
        ),
        (
            "tests/judge/test_score_judged.py",
            "tests/score/test_score.py",
            "tests/score/test_windows.py",
            "tests/score/test_evidence.py",
            "tests/score/test_explaining.py",
        ),
    ),
    "counted once": (
        ("score/once.py", "score/by_machine.py", "score/comparators.py"),
        (
            *("tests/score/test_once.py", "tests/score/test_by_machine.py", "tests/score/test_labels_and_machines.py"),
            *("tests/score/test_windows.py", "tests/score/test_cannot_be_fooled.py"),
            *("tests/judge/test_score_judged.py", NUMBERS),
        ),
    ),
    "statistics": (("ground/statistics.py",), ("tests/ground/test_statistics.py", "tests/score/test_evidence.py")),
    "comparison": (
        ("score/comparison.py", "display/comparison.py"),
        ("tests/display/test_comparison_words.py", "tests/score/test_comparison.py"),
    ),
    "library": (
        ("library/digest.py", "library/library.py", "library/labels.py"),
        ("tests/library/test_digest.py", "tests/library/test_library.py", "tests/library/test_label.py"),
    ),
    "agreement": (
        tuple(f"library/{name}.py" for name in ("agreement", "label", "label_files", "told_time", "words")),
        (
            "tests/library/test_told_time.py",
            "tests/library/test_words.py",
            "tests/library/test_label_files.py",
            NUMBERS,
        ),
    ),
    "forms": (
        ("report/junit.py", "pytest_plugin.py", "display/score.py"),
        (
            *("tests/report/test_junit_words.py", "tests/judge/test_forms_judged.py", "tests/report/test_junit.py"),
            "tests/score/test_labels_and_machines.py",
        ),
    ),
    "record": (("report/record.py",), ("tests/report/test_record.py",)),
    "trace": (("trace/rows.py", "trace/trace.py"), ("tests/trace/test_files.py", "tests/trace/test_trace.py")),
    "settings": (("settings/file.py",), ("tests/settings/test_settings.py",)),
    "guarantee": (("settings/guarantee.py",), ("tests/settings/test_guarantee.py",)),
    "tuning": (
        ("tuning/tune.py", "tuning/judge.py", "tuning/pareto.py", "tuning/holdout.py", "tuning/fresh.py"),
        (
            "tests/tuning/test_choice.py",
            "tests/tuning/test_tune_fooled.py::test_of_an_odd_number_of_machines_the_tuning_part_has_one_more",
            "tests/tuning/test_tune_fooled.py::test_twins_by_spelling_stay_together",
            "tests/tuning/test_tune_fooled.py::test_families_of_one_machine_stay_together_by_any_spelling",
            *(
                f"tests/tuning/test_tune.py::test_{name}"
                for name in (
                    "every_candidate_has_the_figures_of_its_own_score",
                    "the_parts_are_scored_as_libraries_of_their_own",
                    "the_parts_are_disjoint_cover_the_library_and_share_no_machine_and_family",
                    "the_pareto_set_is_that_of_comparing_all_with_all",
                    "a_library_too_small_to_be_parted_is_not_parted",
                )
            ),
        ),
    ),
    "robustness": (
        ("tuning/tolerance.py", "tuning/disturb.py", "tuning/robustness.py", "tuning/levers.py"),
        ("tests/tuning/test_robustness.py",),
    ),
    "sweep": (
        (
            *("sweep/walk.py", "sweep/long_ticks.py", "sweep/fast_ticks.py", "sweep/lane.py"),
            *("sweep/blocks.py", "sweep/outcomes.py", "sweep/table_facts.py"),
        ),
        ("tests/sweep/test_leaps.py", "tests/sweep/test_sweep_blocks.py"),
    ),
    "triage": (
        ("triage/kernel.py", "triage/run.py", "triage/events.py", "triage/findings.py", "triage/days.py"),
        (
            *(
                "tests/triage/test_triage_findings.py",
                "tests/judge/test_triage_judged.py",
                "tests/triage/test_triage_events.py",
            ),
            *("tests/triage/test_triage_joined.py", "tests/triage/test_triage_doubts.py"),
        ),
    ),
    "import": (
        ("measured/zones.py", "ground/zones.py", "measured/clock.py", "measured/assemble.py", "measured/cells.py"),
        (
            *(
                "tests/measured/test_clock.py",
                "tests/measured/test_import_counts.py",
                "tests/ground/test_zones.py",
                NUMBERS,
            ),
            "tests/measured/test_import_blocks.py",
            "tests/measured/test_import_time.py",
            "tests/measured/test_import_honest.py",
            "tests/measured/test_import_broken.py",
        ),
    ),
    "limits": (
        tuple(f"triage/{name}.py" for name in ("doubts", "periods", "exposure", "overlaps", "trends", "clock")),
        (
            *("tests/triage/test_triage_limits.py", "tests/triage/test_triage_overlap_rows.py"),
            "tests/triage/test_triage_doubts.py",
            *("tests/triage/test_triage_joined.py", "tests/report/test_fleet_page.py", NUMBERS),
        ),
    ),
    "losses": (
        tuple(f"measured/{name}.py" for name in ("losses", "quality", "holding", "steady", "threshold", "doubts")),
        (
            *("tests/measured/test_import_losses.py", "tests/measured/test_import_doubts.py"),
            "tests/measured/test_import_holding.py",
            *("tests/measured/test_import_running.py", "tests/measured/test_import_honest.py", NUMBERS),
        ),
    ),
    "ranking": (("triage/ranking.py",), ("tests/triage/test_triage_ranking.py", "tests/triage/test_triage.py")),
    "forecast": (
        tuple(f"forecast/{name}.py" for name in ("rates", "year", "forecast", "keeping")),
        (
            *("tests/forecast/test_year_by_hand.py", "tests/forecast/test_rates.py"),
            *("tests/forecast/test_days.py", NUMBERS, QUICK),
        ),
    ),
    "held out": (("fitting/holdout.py", "fitting/words.py"), ("tests/fitting/test_held_out.py", NUMBERS)),
    "fit": (
        tuple(f"fitting/{name}.py" for name in ("fitting", "members", "runs", "unknowns", "inspections", "driven")),
        ("tests/fitting",),
    ),
    "machine": (
        tuple(f"machine/{name}.py" for name in ("check", "limits", "suits", "draw", "found", "duty", "oils")),
        ("tests/machine", "tests/fitting/test_inspections.py", NUMBERS),
    ),
    "several": (
        ("physics/recorded.py", "physics/agreeing.py"),
        (
            *("tests/physics/test_several_bearings.py", "tests/fitting/test_labels_over_ensemble.py"),
            *("tests/physics/test_recorded.py", NUMBERS),
        ),
    ),
    "physics": (
        tuple(f"physics/{name}.py" for name in ("bearing", "sump", "pump", "journal")),
        (
            *(f"tests/physics/test_physics_{name}.py" for name in ("equations", "outside", "tables", "bearings")),
            *(f"--deselect=tests/physics/test_physics_bearings.py::test_{name}" for name in SLOW_INTERPRETED),
        ),
    ),
    "sensors": (("physics/sensors.py",), ("tests/physics/test_physics_sensors.py", NUMBERS)),
    "gas": (
        tuple(f"physics/{name}.py" for name in ("gas", "model", "viscosity", "solubility", "crankshaft")),
        (
            *("tests/physics/test_physics_model.py", NUMBERS),
            *(f"tests/physics/test_physics_outside.py::test_{name}" for name in GASES),
        ),
    ),
    "what is done": (
        tuple(
            f"physics/{name}.py"
            for name in ("faults", "harmless", "starting", "duty", "drawing", "behaviour", "machines")
        ),
        (*("tests/physics/test_what_is_done.py", "tests/physics/test_drawing.py", NUMBERS),),
    ),
    "days": (
        ("physics/days.py", "physics/befalling.py"),
        ("tests/forecast/test_day_by_hand.py", "tests/forecast/test_days.py", NUMBERS),
    ),
    "loop": (
        ("synth/loop.py",),
        ("tests/synth/test_loop_parts.py", NUMBERS),
    ),
    "lowering": (("engine/lowering.py",), ("tests/engine/test_lowering.py",)),
    "measuring": (
        tuple(f"fitting/{name}.py" for name in ("measuring", "sensitivity", "belonging")),
        (
            *("tests/fitting/test_traits.py", NUMBERS, "tests/fitting/test_sensitivity.py"),
            *("tests/fitting/test_measuring.py", QUICK),
        ),
    ),
    "keys": (("machine/keys.py",), (NUMBERS, "tests/machine/test_machine_keys.py")),
    "labels": (
        ("physics/simulate.py", "physics/families.py"),
        (
            "tests/physics/test_physics_labels.py",
            "tests/physics/test_physics_bearings.py::test_label_follows_from_the_spells",
        ),
    ),
    "text of a log": (
        ("measured/dialect.py", "measured/unit_text.py"),
        (
            *("tests/measured/test_dialect.py", "tests/measured/test_import_units.py", NUMBERS),
            "tests/measured/test_import_dialects.py",
        ),
    ),
    "draft": (
        tuple(f"measured/{name}.py" for name in ("candidates", "guess_time", "guess_signals")),
        (
            *("tests/measured/test_candidates.py", "tests/measured/test_guess_traps.py", NUMBERS),
            *("tests/measured/test_guess_names.py", "tests/measured/test_import_report.py"),
        ),
    ),
    "profile": (
        ("measured/profile.py", "measured/profile_keys.py"),
        ("tests/measured/test_profile.py", "tests/measured/test_import_running.py", NUMBERS),
    ),
    "channels": (
        ("measured/channels.py",),
        (
            *("tests/measured/test_import_counts.py", "tests/measured/test_import_units.py"),
            *("tests/measured/test_import_doubts.py", "tests/measured/test_import_holding.py", NUMBERS),
        ),
    ),
    "into a library": (
        ("measured/into_library.py", "measured/importing.py"),
        ("tests/measured/test_into_library.py", "tests/measured/test_import_library.py", NUMBERS),
    ),
    "containers": (
        tuple(f"measured/{name}.py" for name in ("mdf", "mdf_blocks", "parquet", "opened", "sources", "workbooks")),
        ("tests/measured/test_import_sources.py", "tests/measured/test_import_containers.py", NUMBERS),
    ),
    "long logs": (
        tuple(f"measured/{name}.py" for name in ("long_form", "long_days", "long_look")),
        ("tests/measured/test_import_long.py", NUMBERS),
    ),
    "thinning": (("drawing/decimation.py",), ("tests/drawing/test_decimation.py",)),
    "margins": (("drawing/margins.py",), ("tests/drawing/test_margins.py",)),
    "drawing": (
        tuple(f"drawing/{name}.py" for name in ("around", "event_plot", "trace_plot")),
        ("tests/drawing/test_plot.py",),
    ),
    "label page": (("page/labelling.py",), ("tests/page/test_label_page.py",)),
    "plain laws": (
        ("engine/baselines.py", "engine/scan.py", "engine/causes.py", "score/comparators.py"),
        (
            *("tests/engine/test_baselines.py", "tests/engine/test_scan.py", "tests/engine/test_engine.py"),
            *("tests/score/test_comparators.py", NUMBERS),
        ),
    ),
    "trace files": (
        ("trace/files.py",),
        ("tests/trace/test_files.py", NUMBERS, "tests/trace/test_trace.py", "tests/trace/test_trace_arrow.py"),
    ),
    "conform": (
        ("port/conform.py",),
        ("tests/port/test_conform_told.py", NUMBERS, "tests/port/test_conform.py"),
    ),
    "vectors": (
        tuple(f"port/{name}.py" for name in ("vectors", "adversary", "questions", "walks", "coverage")),
        ("tests/port/test_adversary.py", "tests/port/test_vectors.py", NUMBERS),
    ),
    "fleet": (
        ("report/fleet.py", "display/triage.py"),
        ("tests/report/test_fleet_words.py", "tests/report/test_fleet_page.py", NUMBERS),
    ),
    "wording": (
        ("ground/wording.py", "ground/shown.py", "display/settings.py"),
        ("tests/ground/test_wording.py", "tests/ground/test_shown.py", "tests/display/test_settings_words.py"),
    ),
    "units": (("ground/units.py",), ("tests/ground/test_units.py", NUMBERS)),
    "page": (
        ("page/judge.js", "page/units.js", "page/settings.js", "page/wording.js", "page/label_times.js"),
        (
            *("tests/page/test_page_words.py", "tests/page/test_label_times.py"),
            *("tests/page/test_judge_script.py", "tests/page/test_bench_page.py"),
        ),
    ),
}


@dataclass(frozen=True)
class Planted:
    """A slip with its text, and how the tests of its part ended."""

    change: Change
    fate: str
    by: str


def copied(folder: Path) -> Path:
    """Lay out a copy of a checkout to plant slips in."""
    leave = shutil.ignore_patterns("__pycache__", "node_modules", "build", "*.egg-info")
    for name in COPIED:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, folder / name, ignore=leave)
        else:
            shutil.copy(ROOT / name, folder / name)
    compileall.compile_dir(folder, quiet=2)
    return folder


class Runner:
    """A copy of the checkout and the process whose forks run tests in it (forked.py)."""

    def __init__(self, folder: Path) -> None:
        self.folder = copied(folder)
        variables = {"PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
        cache = {"XDG_CACHE_HOME": str(folder / "cache")}
        self.process = subprocess.Popen(
            [sys.executable, str(Path(__file__).with_name("forked.py")), str(folder)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, **variables, **cache},
        )

    def ask(self, part: str, tests: Sequence[str], timeout: float) -> tuple[str, str]:
        """Run tests of a part; return how that ended and by which test."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(
            json.dumps({"tests": list(tests), "timeout": timeout, "interpreted": part not in COMPILED}) + "\n"
        )
        self.process.stdin.flush()
        answer = json.loads(self.process.stdout.readline())
        return answer["fate"], answer["by"]

    def plant(self, part: str, slip: Slip, tests: Sequence[str], timeout: float) -> Planted:
        """Plant a slip, run the tests, take it out again."""
        path = self.folder / slip.file
        source = path.read_text(encoding="utf-8")
        with self.changed(path, source, slip.text(source)):
            return Planted(slip.shown(source), *self.ask(part, tests, timeout))

    @contextlib.contextmanager
    def changed(self, path: Path, source: str, text: str) -> Iterator[None]:
        """Hold another text in a file; no byte code of either may be taken for the other."""
        for kept in (path.parent / "__pycache__").glob(f"{path.stem}.*.pyc"):
            kept.unlink()
        path.write_text(text, encoding="utf-8")
        try:
            yield
        finally:
            path.write_text(source, encoding="utf-8")

    def close(self) -> None:
        """End the process."""
        assert self.process.stdin is not None
        self.process.stdin.close()
        self.process.wait()


def drawn(parts: Sequence[str], sample: int | None, seed: int) -> list[tuple[str, Slip]]:
    """Return slips of these parts, a sample of them or all, each with its part."""
    every = [(part, slip) for part in parts for file in PLAN[part][0] for slip in slips(ROOT, f"replay/{file}")]
    if sample is None or sample >= len(every):
        return every
    return sorted(random.Random(seed).sample(every, sample))  # noqa: S311 - draws a test, no secret


def planted(wanted: Sequence[tuple[str, Slip]], jobs: int = 1, plan: Plan = PLAN) -> list[Planted]:
    """Plant every slip by itself. Raises SystemExit where the tests of a part fail with nothing planted."""
    with tempfile.TemporaryDirectory() as work:
        free: SimpleQueue[Runner] = SimpleQueue()
        runners = [Runner(Path(work) / str(number)) for number in range(jobs)]
        try:
            for part in dict.fromkeys(part for part, _ in wanted):
                fate, by = runners[0].ask(part, plan[part][1], PLAIN_S)
                if fate != "survived":
                    raise SystemExit(f"the tests of {part} fail with nothing planted: {by}")
            for runner in runners:
                free.put(runner)

            def one(row: tuple[str, Slip]) -> Planted:
                runner = free.get()
                try:
                    return runner.plant(*row, plan[row[0]][1], PLANTED_S)
                finally:
                    free.put(runner)

            with ThreadPoolExecutor(jobs) as pool:
                return list(pool.map(one, wanted))
        finally:
            for runner in runners:
                runner.close()


def named(parts: Sequence[str]) -> list[tuple[str, Slip]]:
    """Return the slips of named_slips.toml in these parts, each with its part. Raises SystemExit for one without its place."""
    found = []
    for row in tomllib.loads(NAMED.read_text(encoding="utf-8"))["slip"]:
        if row["part"] in parts:
            file = f"replay/{row['file']}"
            source = (ROOT / file).read_text(encoding="utf-8")
            if source.count(row["line"]) != 1:
                raise SystemExit(f"named_slips.toml: {row['what']}: its line does not stand once in {file}")
            begin = source.index(row["line"])
            slip = Slip(file, row["what"], begin, begin + len(row["line"]), row["changed"])
            found.append((row["part"], slip))
    return found


def judge(
    parts: Sequence[str] = tuple(PLAN),
    sample: int | None = SAMPLE,
    seed: int = SEED,
    jobs: int = 1,
    plan: Plan = PLAN,
) -> Verdict:
    """Judge the tests of the host side by the slips that they let live; sample: how many are drawn, None for all."""
    ends = planted([*named(parts), *drawn(parts, sample, seed)], jobs, plan)
    alive = {one.change for one in ends if one.fate == "survived"}
    known = reasons(EQUIVALENT)
    looked_for = {one.change for one in ends}
    lines = judged(alive, {change: why for change, why in known.items() if change in looked_for})
    hung = [f"ran into the time limit: {one.change[0]}: `{one.change[2]}`" for one in ends if one.fate == "timeout"]
    counts = ", ".join(f"{sum(one.fate == fate for one in ends)} {fate}" for fate in FATES)
    told = f"{len(ends)} slips in {', '.join(parts)}: {counts}; {len(known)} listed as equivalent, each with its reason"
    return Verdict(not lines, (*hung, *lines, told))
