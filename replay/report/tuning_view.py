"""What `lubetrip tune` left in a folder, for the report: its findings, and its plots as they are."""

import base64
from pathlib import Path
from typing import Any

from replay.ground.json_files import read_json_report
from replay.ground.refusal import refusal
from replay.ground.shape import Key, Keys, fit, number, or_none, plain_text, whole
from replay.library.library import leads_inside
from replay.score import Score
from replay.score.judge_digest import judge_digest
from replay.tuning.results import REPORT, SCHEMA

PLOTS = {
    "pareto": "Pareto set: no other candidate is as good in missed-trip limit, nuisance limit and worst margin and"
    " better in one",
    "tornado": "Tornado: how far each reading or setting has to move, by itself, before the first fault is missed or"
    " the first nuisance trip comes; dotted frames are the stated tolerances of the sensors",
}
TYPES = {".png": "image/png", ".svg": "image/svg+xml"}
WRITTEN = "a folder that `lubetrip tune` wrote"

_DIGEST = Keys({"digest": Key(plain_text)}, loose=True)
_LIMITS = ("missed_limit", "nuisance_limit_per_1000h", "worst_margin_s")
_FIGURES = {**dict.fromkeys(_LIMITS, Key(or_none(number()))), "verdict": Key(or_none(plain_text))}
_CANDIDATE: dict[str, Key | Keys] = {
    "number": Key(whole()),
    "digest": Key(plain_text),
    "given": Keys({}, loose=True),
    "whole": Keys(_FIGURES, loose=True),
}
SHAPE = Keys(
    {
        **dict.fromkeys(("judged", "chosen"), Key(whole())),
        "rule": Key(plain_text),
        **dict.fromkeys(("library", "logic", "base"), _DIGEST),
        "judge": Keys({"digest": Key(plain_text)}, needed=False, loose=True),
        "base_settings": Keys(_CANDIDATE, loose=True),
        "pareto": Keys(_CANDIDATE, many=True, loose=True),
    },
    loose=True,
)


def read_tuning(folder: Path) -> dict[str, Any]:
    """Return the report of a tuning run. Raises Refusal for a folder that holds none."""
    _check_inside(folder, folder / REPORT)
    report = read_json_report(folder / REPORT, SCHEMA, WRITTEN)
    fit(folder / REPORT, report, SHAPE, accepted=WRITTEN)
    return report


def plots(folder: Path) -> list[dict[str, str]]:
    """Return the plots of a tuning run, each carried whole in its address, with the words that tell what it shows."""
    shown = []
    for name, words in PLOTS.items():
        for ending, kind in TYPES.items():
            path = folder / (name + ending)
            if path.is_file():
                _check_inside(folder, path)
                content = base64.b64encode(path.read_bytes()).decode()
                shown.append({"words": words, "address": f"data:{kind};base64,{content}"})
                break
    return shown


def _check_inside(folder: Path, path: Path) -> None:
    """Refuse a link out of the folder: the page would carry any file of whoever writes it."""
    if not leads_inside(folder, path):
        raise refusal(path, "", "leads out of the folder of the tuning", WRITTEN)


def sentences(found: dict[str, Any], score: Score) -> list[str]:
    """Return what was tuned, on what, and whether that is what this report is about."""
    said = [
        f"{found['judged']} candidates judged, {len(found['pareto'])} of them in the Pareto set.",
        f"Chosen, and moved in the tornado plot: candidate {found['chosen']}, by {found['rule']}.",
    ]
    if found["library"]["digest"] != score.library_digest:
        said.append("This tuning was done on ANOTHER library than the one of this report.")
    if found["logic"]["digest"] != score.engine.digest:
        said.append("This tuning was done with ANOTHER logic than that of this report.")
    if found.get("judge", {}).get("digest", judge_digest()) != judge_digest():
        said.append("This tuning was judged by ANOTHER judge than that of this report.")
    numbers = [line["number"] for line in found["pareto"] if line["digest"] == score.settings.digest]
    if found["base"]["digest"] == score.settings.digest:
        said.append("The settings of this report are the base settings of the tuning.")
    elif numbers:
        said.append(f"The settings of this report are candidate {numbers[0]}.")
    else:
        said.append("The settings of this report are neither the base of the tuning nor in its Pareto set.")
    return said
