"""The folder of a tuning run, with its plots."""

from pathlib import Path

from replay.drawing import plot_tuning
from replay.ground.files import write_folder
from replay.tuning.results import given_words, result_files
from replay.tuning.run import Tuned


def write_tuning(folder: Path | str, tuned: Tuned) -> None:
    """Write what `tune_settings` found into a new or empty folder, whole or not at all.

    Settings files, a table of all candidates (Parquet), the report (JSON) and plots; `replay.tuning.results` names
    them. Raises Refusal.
    """
    tuning = tuned.tuning
    plots = {"pareto.png": plot_tuning.pareto_png(tuning)}
    if tuned.moved is not None:
        plots["tornado.png"] = plot_tuning.tornado_png(tuned.moved, given_words(tuning.chosen.candidate.given))
    write_folder(Path(folder), result_files(tuning, tuned.as_json(), plots))
