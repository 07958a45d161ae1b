"""What a tuning run leaves behind: a folder of settings files, a table, a report and plots.

report.json            what was tried and on what, the Pareto set, the parts of the library, robustness
candidates.parquet     every candidate: varied keys, figures on the parts of the library
settings-NNNNN.toml    one for each candidate of the Pareto set, ready to use
chosen.toml            the one that the rule chooses
pareto.png, tornado.png
"""

import io
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from protect import ranges
from replay.ground.places import place_of
from replay.ground.wording import words
from replay.library import library_digest
from replay.score import evidence
from replay.score.judge_digest import judge_digest
from replay.score.judgement import UNJUDGED
from replay.settings.file import PLACES
from replay.sweep import account
from replay.tuning.judge import RULE, Figures
from replay.tuning.levers import Lever
from replay.tuning.race import RULE_BY_YEARS
from replay.tuning.robustness import EVENTS, Found, Robustness
from replay.tuning.tolerance import MonteCarlo
from replay.tuning.tune import BASE, Line, Tuning
from replay.tuning.vary import VARIED

SCHEMA = "lubetrip-tune/1"
CHOSEN, REPORT, CANDIDATES = "chosen.toml", "report.json", "candidates.parquet"
PARTS = ("tuning", "held_out", "whole")


def settings_name(number: int) -> str:
    """Return the file name of a candidate's settings."""
    return f"settings-{number:05d}.toml"


def settings_text(tuning: Tuning, line: Line) -> str:
    """Return a candidate as a settings file: the base file, comments and all, with the varied keys changed."""
    import tomlkit

    base = Path(tuning.space.base.file)
    document = tomlkit.parse(place_of(tuning.space.base.file).read_text(encoding="utf-8-sig"))
    given = tuning.base.candidate.given
    changes = [
        f"{key} = {_told(value)}, was {_told(given[key])}"
        for key, value in line.candidate.given.items()
        if value != given[key]
    ]
    for key, value in line.candidate.given.items():
        document[VARIED[key]][key] = value
    head = [
        f"Candidate {line.number} of lubetrip tune, made from {base.name}. Comments below are those of that file.",
        *(changes or ["Nothing is changed."]),
        f"digest {line.candidate.settings.digest}",
    ]
    return "".join(f"# {text}\n" for text in head) + "\n" + tomlkit.dumps(document)


def _told(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)


def candidates_table(tuning: Tuning) -> Any:
    """Return all candidates as an Arrow table, the base settings first as number 0.

    A varied key stands as the settings file would hold it (text) and as KEY_UNIT in the units of the logic.
    """
    import pyarrow as pa

    lines = tuning.lines
    alike = {one.candidate: one.alike for one in tuning.front}
    columns: dict[str, Any] = {"number": [line.number for line in lines]}
    for axis in tuning.space.axes:
        columns[axis.key] = [str(line.candidate.given[axis.key]) for line in lines]
        unit = ranges.SETTINGS[PLACES[axis.key]][1].lower()
        columns[f"{axis.key}_{unit}"] = [line.candidate.settings.values[PLACES[axis.key]] for line in lines]
    columns["digest"] = [line.candidate.settings.digest for line in lines]
    columns["alike"] = [alike.get(line.number) for line in lines]  # of the Pareto set; null outside it
    columns["chosen"] = [line.number == tuning.best.candidate for line in lines]
    for part in PARTS:
        rows = [flat(getattr(line, part)) for line in lines]
        for name in rows[0]:
            columns[f"{part}_{name}"] = [row[name] for row in rows]
    return pa.table(columns)


def flat(figures: Figures | None) -> dict[str, Any]:
    """Return figures as one row: verdict, limits, margin, counts; nothing in them where there are none."""
    names = (
        *("must_trip", "hit", "missed", "early", "nuisance_trips", "ride_through_run_hours", "worst_margin_s"),
        *("stood", "upsets", "upsets_stopped", "stops_outside_upsets", "hours_outside_upsets"),
    )
    keys = ("verdict", "missed_limit", "nuisance_limit_per_1000h", *names)
    if figures is None:
        return dict.fromkeys(keys)
    limits = (evidence.rounded(figures.missed_limit), evidence.rounded(figures.nuisance_limit))
    counts = (getattr(figures.totals, name) for name in names)
    return dict(zip(keys, (figures.verdict, *limits, *counts), strict=True))


def tuning_json(tuning: Tuning) -> dict[str, Any]:
    """Return the report of a tuning run in the form of its schema."""
    entries = tuning.library.entries
    return {
        "schema": SCHEMA,
        "base": tuning.space.base.as_json(),
        "acceptance": vars(tuning.space.base.acceptance),
        "logic": account(),
        "judge": {"digest": judge_digest()},
        "library": {"digest": library_digest(tuning.library), "traces": len(entries)},
        "varied": {axis.key: len(axis.options) for axis in tuning.space.axes},
        "judged": len(tuning.lines) - 1,
        "unjudged": {name: UNJUDGED[name] for name in tuning.chosen.whole.unjudged},
        "contradictory": tuning.left_out,
        "budget": tuning.budget,
        "seed": tuning.seed if tuning.budget else None,
        "rule": RULE_BY_YEARS if tuning.race else RULE,
        "parts": {
            "tuning": [entries[place].id for place in tuning.split.tuning],
            "held_out": [entries[place].id for place in tuning.split.held_out],
            "held_out_from": tuning.split.apart,
            "machines_in_both": list(tuning.split.shared),
        },
        **front_json(tuning),
        "better_than_base": tuning.gains,
        "fresh": _fresh_json(tuning),
        **({"forecast": tuning.race.as_json()} if tuning.race else {}),
    }


def front_json(tuning: Tuning) -> dict[str, Any]:
    """Return the Pareto set as it stands in the report, with the base settings and the number of the chosen one."""
    return {
        "base_settings": _line_json(tuning.base, None),
        "pareto": [_line_json(tuning.lines[one.candidate], one.alike) for one in tuning.front],
        "chosen": tuning.best.candidate,
    }


def _line_json(line: Line, alike: int | None) -> dict[str, Any]:
    given, digest = dict(line.candidate.given), line.candidate.settings.digest
    about: dict[str, Any] = {"number": line.number, "given": given, "digest": digest, "alike": alike}
    if line.number != BASE:
        about["file"] = settings_name(line.number)
    return about | {part: flat(getattr(line, part)) for part in PARTS}


def _fresh_json(tuning: Tuning) -> dict[str, Any] | None:
    if tuning.fresh is None:
        return None
    base, chosen = (flat(figures) for figures in tuning.fresh.figures)
    return {"seed": tuning.fresh.seed, "traces": tuning.fresh.traces, "base": base, "chosen": chosen}


def moved_json(robust: Robustness, drawn: MonteCarlo) -> dict[str, Any]:
    """Return how far each lever may move, and all sensors at once."""
    return {"robustness": _robustness_json(robust), "monte_carlo": _monte_carlo_json(drawn)}


def _robustness_json(found: Robustness) -> dict[str, Any]:
    """Return every lever with its brackets, in all and by family; amounts in the lever's unit."""
    return {
        "left_out": found.left_out,
        "judged": {event: list(families) for event, families in found.judged.items()},
        "levers": [
            {
                **_lever_json(lever),
                **_brackets(found.found, number),
                "families": {
                    name: brackets
                    for name, family in found.families.items()
                    if any((brackets := _brackets(family, number)).values())
                },
            }
            for number, lever in enumerate(found.levers)
            if number in found.tried
        ],
    }


def _lever_json(lever: Lever) -> dict[str, Any]:
    about: dict[str, Any] = {"kind": lever.kind, "subject": lever.subject, "unit": lever.unit}
    if lever.kind == "setting":
        about["start"] = lever.start
    return about | {"way": "up" if lever.sign > 0 else "down", "reach": lever.reach}


def _brackets(found: Found, number: int) -> dict[str, Any]:
    brackets = {event: found.get((number, event)) for event in EVENTS}
    return {event: bracket and vars(bracket) for event, bracket in brackets.items()}


def _monte_carlo_json(found: MonteCarlo) -> dict[str, Any]:
    """Return the Monte Carlo with its tolerances, shares and their intervals."""
    tolerances = {name: vars(error) for name, error in found.tolerances.items()}
    shares = {event: claim.as_json() for event, claim in found.shares.items()}
    return {**vars(found), "tolerances": tolerances, "shares": shares}


def result_files(tuning: Tuning, report: dict[str, Any], plots: dict[str, bytes]) -> dict[str, bytes]:
    """Return the folder of a tuning run: name and content of each file."""
    import pyarrow.parquet as pa_parquet

    stream = io.BytesIO()
    pa_parquet.write_table(candidates_table(tuning), stream, compression="zstd")
    files = {REPORT: (json.dumps(report, indent=1) + "\n").encode(), CANDIDATES: stream.getvalue(), **plots}
    for one in tuning.front:
        files[settings_name(one.candidate)] = settings_text(tuning, tuning.lines[one.candidate]).encode()
    files[CHOSEN] = settings_text(tuning, tuning.chosen).encode()
    return files


def given_words(given: Mapping[str, Any]) -> str:
    """Return keys and values of a settings file as a reader writes them down."""
    return ", ".join(f"{words(key)} {value}" for key, value in given.items())
