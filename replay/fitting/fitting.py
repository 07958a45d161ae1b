"""A machine file fitted to measured runs: `fit_machine`."""

import functools
import hashlib
import json
import shutil
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from replay.engine.workers import Progress, host_code, quiet, workers
from replay.fitting.belonging import refuse_strangers
from replay.fitting.holdout import Prediction, fitted, predict
from replay.fitting.inspections import Bearings, bearings_of
from replay.fitting.members import Errors, Member, Problem, fit_member, shown_errors
from replay.fitting.runs import Run, refuse_midst, refuse_other_machine, run_of
from replay.fitting.unknowns import figures_of, unknowns_of
from replay.fitting.words import OFF_PA, Misfit
from replay.ground.files import check_writable, write_text
from replay.ground.json_files import read_json
from replay.ground.refusal import or_refuse, refusal
from replay.ground.shown import KPA, Units, asked, shown_in
from replay.ground.wording import counted
from replay.library import Library, entry_named, library_digest, library_of
from replay.library.given import GivenLibrary, GivenSettings, settings_of
from replay.library.library import Entry
from replay.machine import MachineFile, machine_from, read_machine
from replay.machine.found import ENSEMBLE, FIT, written
from replay.physics.drawing import FOAMING, STILL
from replay.trace import read_trace

SCOUTING = 10  # members that look where the runs lead, and how large errors are
KEPT_STARTS = 2  # of them, where the ensemble begins,
NEAR_BEST = 8.0  # unless the best of them is likelier by the exponential of this
MEMBERS = 32
LEAST_KEPT = 8
SURE = 0.999  # a member less likely than the best by what would happen so seldom is left out
SETTLED = 0.4  # spread of an unknown's z from which down the runs settle it, and
TOLD = 0.8  # spread of an unknown's z below which the runs tell something of it
BEYOND_S = 10.0  # assumed: by so much longer a held-out run is short of oil than the fitted ones, and is told of
GROSS = 0.15  # share of readings far off every member, from which on the runs are not this machine's
WORK = ".fit"  # what is appended to the output's name while the fit is going on


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted machine.

    members: those of the ensemble; dropped: how many were less likely; spread: of each unknown's z in the ensemble, by
    its key in a machine file, or its name; runs, held_out: what the ensemble makes of them; bearings: what inspections
    leave of them; units: in which it is shown; text: the machine file with the ensemble, in kPa whatever is shown.
    """

    machine: MachineFile
    problem: Problem
    members: tuple[Member, ...]
    dropped: int
    simulations: int
    spread: dict[str, float]
    runs: tuple[Prediction, ...]
    held_out: tuple[Prediction, ...]
    bearings: Bearings
    units: Units
    text: str

    @property
    def told(self) -> list[str]:
        """Unknowns of which the runs tell something, the best known first."""
        return sorted((key for key, spread in self.spread.items() if spread < TOLD), key=self.spread.__getitem__)

    @property
    def settled(self) -> list[str]:
        """Those of them that the runs settle."""
        return [key for key in self.told if self.spread[key] < SETTLED]

    @property
    def untold(self) -> list[str]:
        """Unknowns of which the runs tell next to nothing."""
        return [key for key, spread in self.spread.items() if spread >= TOLD]

    @property
    def beyond(self) -> dict[str, tuple[str, float, float]]:
        """Of each held-out run that is below a level for longer than any fitted one: which, for how long, and that, s.

        How net oil pressure comes back after so long no fitted run shows.
        """
        found = {}
        for one in self.held_out:
            shown = {
                figure.name: max(run.below_s[n].read or 0.0 for run in self.runs)
                for n, figure in enumerate(one.below_s)
            }
            longer = [(f.read - shown[f.name], f.name, f.read) for f in one.below_s if f.read is not None]
            excess, name, read_s = max(longer, default=(0.0, "", 0.0))
            if excess > BEYOND_S:
                found[one.run.id] = (name, read_s, shown[name])
        return found

    @property
    def misfits(self) -> list[Misfit]:
        """What the model cannot make of the runs it was fitted to."""
        return [one for run in self.runs for one in run.misfits]

    def as_json(self) -> dict[str, Any]:
        """Return the report in the form of its schema; pressures in Pa, times in s, sentences in the units shown."""
        with shown_in(self.units):
            runs, held_out = [_told(one) for one in self.runs], [_told(one) for one in self.held_out]
        return {
            "schema": "lubetrip-fit/1",
            "machine": self.machine.digest,
            "runs": runs,
            "held_out": held_out,
            "members": len(self.members),
            "dropped": self.dropped,
            "simulations": self.simulations,
            "errors": [one._asdict() for one in self.problem.errors],
            "spread": {key: round(spread, 3) for key, spread in self.spread.items()},
            "not_told": self.untold,
            "beyond_fitted": {
                run: {"below": name, "read_s": read_s, "fitted_s": most_s}
                for run, (name, read_s, most_s) in self.beyond.items()
            },
            "bearings": self.bearings.told,
        }


def fit_machine(
    machine: MachineFile | Path | str,
    library: GivenLibrary,
    ids: Sequence[str] = (),
    to: Path | str | None = None,
    *,
    hold_out: Sequence[str] = (),
    settings: GivenSettings = None,
    members: int = MEMBERS,
    jobs: int = 1,
    cluster: str | None = None,
    progress: Progress = quiet,
) -> Fit:
    """Fit a machine file to runs of a library, and write it with its ensemble into the file `to`, whole or not at all.

    ids: traces to fit, all but those held out if none are named; hold_out: traces to predict; settings: whose trips are
    predicted, those of the library without any; jobs, cluster: as in `score_library`. An interrupted fit goes on where
    it stopped. Raises Refusal where the runs teach nothing, or are none of this machine.
    """
    described = machine if isinstance(machine, MachineFile) else read_machine(machine)
    described = replace(described, members=())  # those of an earlier fit are no assumption of this one
    shelf = library_of(library)
    if both := [one for one in ids if one in hold_out]:
        raise refusal("fit", "--hold-out", "named among the runs to fit, too", "a run that is not fitted to", both[0])
    target = None if to is None else Path(to)
    if target is not None:
        check_writable(target)
    checked = None if settings is None and shelf.settings is None else settings_of(settings, shelf, "fit")
    units = asked() if checked is None else checked.units
    with shown_in(units):
        held = [_run(entry, described) for entry in _entries(shelf, hold_out)]
        wanted = ids or [entry.id for entry in shelf.entries if entry.id not in hold_out]
        runs = _with_events(shelf, [_run(entry, described) for entry in _entries(shelf, wanted)])
        kinds = _kinds(described)
        problems = {kind: _problem(described, oils, runs) for kind, oils in kinds.items()}
        refuse_strangers([_problem(described, oils, (*runs, *held)) for oils in kinds.values()], described.file)
        folder = None if target is None else target.with_name(target.name + WORK)
        with workers(jobs, cluster) as each, progress(SCOUTING * len(kinds) + members, "fitting") as stage:
            work = _Work(folder, _digest(described, shelf, runs))
            looked = {
                kind: work.members(each, kind, its, range(SCOUTING), stage.advance) for kind, its in problems.items()
            }
            kind = max(looked, key=lambda its: max(one.likelihood for one in looked[its]))
            problem, scouts = problems[kind], looked[kind]
            likeliest = sorted(scouts, key=lambda one: -one.likelihood)[:KEPT_STARTS]
            least = likeliest[0].likelihood - NEAR_BEST
            starts = tuple(tuple(one.place) for one in likeliest if one.likelihood >= least)
            problem = replace(problem, errors=shown_errors(problem, scouts), starts=starts)
            found = work.members(each, kind, problem, range(SCOUTING, SCOUTING + members), stage.advance)
        kept = _likely(found)
        spread = np.std([one.place for one in kept], axis=0, ddof=1)
        fit = Fit(
            described,
            problem,
            kept,
            len(found) - len(kept),
            sum(one.simulations for one in (*scouts, *found)),
            {one.path or one.key: float(its) for one, its in zip(problem.unknowns, spread, strict=True)},
            tuple(fitted(problem, kept, number, checked) for number in range(1, len(runs) + 1)),
            tuple(predict(problem, kept, run, checked) for run in held),
            bearings_of(problem.site, described.inspections, len(kept), problem.seed, described.file),
            units,
            "",
        )
        _check_gross(shelf, fit)
        with shown_in(KPA):
            fit = replace(fit, text=_text(fit, shelf))
        if target is not None:
            machine_from(target, fit.text)
            write_text(target, fit.text)
            work.end()
        return fit


def _kinds(machine: MachineFile) -> dict[str, tuple[str, ...]]:
    """Return the behaviours that the machine's oil may have, by its file, each with invented oils like it."""
    kinds = {"still": STILL, "foaming": FOAMING}
    stated = machine.stated.get("oil.behaviour")
    return kinds if stated is None else {stated: kinds[stated]}


def _problem(machine: MachineFile, oils: Sequence[str], runs: tuple[Run, ...]) -> Problem:
    site = machine.middle(oils)
    return Problem(site, unknowns_of(site, machine.stated, runs), runs, (Errors(),) * len(runs))


def _entries(library: Library, ids: Sequence[str]) -> list[Entry]:
    found = [entry_named(library, identity) for identity in ids]
    if len(named := dict.fromkeys(entry.machine for entry in found)) > 1:
        rule = "runs of more than one machine"
        wanted = (
            "the ids of runs of the one that the file describes; if all of them are of one machine, say so: "
            '`machine = "NAME"` under [trace] of the profile, and import again with --replace'
        )
        raise refusal(library.folder, "fit", rule, wanted, ", ".join(named))
    return found


def _run(entry: Entry, machine: MachineFile) -> Run:
    run = run_of(replace(read_trace(entry.path), name=entry.id), entry.path)
    refuse_other_machine(run, *machine.ends())
    refuse_midst(run)
    return run


def _with_events(library: Library, runs: Sequence[Run]) -> tuple[Run, ...]:
    found = tuple(run.about_event() for run in runs if run.has_event)
    if not found:
        rule = f"nothing to learn from {counted(len(runs), 'run')}: neither suction nor net oil pressure ever falls"
        raise refusal(library.folder, "", rule, "a run with the suction valve shut or throttled for some minutes")
    return found


def _digest(machine: MachineFile, library: Library, runs: Sequence[Run]) -> str:
    told = [machine.digest, library_digest(library), [run.id for run in runs], host_code()]
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()


class _Work:
    """Members that are finished, kept in a folder beside the output as long as the fit goes on."""

    def __init__(self, folder: Path | None, digest: str) -> None:
        self.folder = None if folder is None else folder / digest[:16]
        if folder is not None:
            for other in folder.glob("*"):
                if other != self.folder:
                    shutil.rmtree(other)
            with or_refuse(folder, "made", "a folder that can be written"):
                (folder / digest[:16]).mkdir(parents=True, exist_ok=True)

    def members(self, each: Any, kind: str, problem: Problem, numbers: range, tick: Any) -> list[Member]:
        """Return members by their numbers, fitted or as a run before has left them; kind: of the oil."""
        task = functools.partial(_kept_member, None if self.folder is None else self.folder.absolute() / kind, problem)
        found: list[Member] = each(task, list(numbers), tick)
        return found

    def end(self) -> None:
        """Clear away the work."""
        if self.folder is not None:
            shutil.rmtree(self.folder.parent)


def _kept_member(folder: Path | None, problem: Problem, number: int) -> Member:
    if folder is None:
        return fit_member(problem, number)
    folder.mkdir(exist_ok=True)
    path = folder / f"{number:05d}.json"
    if path.exists():
        return Member(**read_json(path, "what a fit left here"))
    member = fit_member(problem, number)
    write_text(path, json.dumps(asdict(member)))
    return member


def _likely(members: Sequence[Member]) -> tuple[Member, ...]:
    """Return the members that are likely enough beside the best, at least a few."""
    from scipy.stats import chi2

    best = max(one.likelihood for one in members)
    heard = np.median([len(one.place) - len(one.silent) for one in members])
    allowed = 0.5 * float(chi2.ppf(SURE, heard))
    ranked = sorted(members, key=lambda one: -one.likelihood)
    count = max(sum(one.likelihood >= best - allowed for one in ranked), min(LEAST_KEPT, len(ranked)))
    return tuple(sorted(ranked[:count], key=lambda one: one.number))


def _check_gross(library: Library, fit: Fit) -> None:
    """Refuse runs that no member comes near to."""
    for one in fit.runs:
        off = np.abs(one.run.oil_pa - one.oil_pa).min(axis=0)
        share = float(np.mean(off[one.run.read] > np.maximum(OFF_PA, 4.0 * one.run.sigma_pa[one.run.read])))
        if share > GROSS:
            worst = f"; {one.misfits[0].text}" if one.misfits else ""
            rule = f"{100 * share:.0f} % of the readings are far from anything that this machine file allows{worst}"
            raise refusal(
                library.folder, one.run.id, rule, "runs of the machine that the file describes, sound but for suction"
            )


def _told(one: Prediction) -> dict[str, Any]:
    figures = {figure.name: asdict(figure) for figure in one.below_s}
    if one.trip_s is not None:
        figures["trip"] = asdict(one.trip_s)
    return {
        "trace": one.run.id,
        "net_error_pa": round(one.net_error_pa),
        "figures": figures,
        "misfits": [misfit.text for misfit in one.misfits],
    }


def _text(fit: Fit, library: Library) -> str:
    """Return the machine file with what was found in place of what stood there of an earlier fit."""
    import tomlkit

    document = tomlkit.parse(fit.machine.text)
    for table in (FIT, ENSEMBLE):
        document.pop(table, None)
    about = tomlkit.table()
    about.comment("written by `lubetrip fit`")
    about["tool"] = f"lubetrip {version('lubetrip')}, {host_code()['code'][:12]}"
    about["machine"] = fit.machine.digest
    about["library"] = library_digest(library)
    about["traces"] = [run.run.id for run in fit.runs]
    about["net_error"] = [f"{run.net_error_pa / 1000:.2f} kPa" for run in fit.runs]
    about["simulations"] = fit.simulations
    about["not_told"] = fit.untold
    about["bearings"] = fit.bearings.told
    about["misfits"] = [misfit.text for misfit in fit.misfits]
    document[FIT] = about
    document.setdefault("oil", tomlkit.table())["behaviour"] = "foaming" if fit.problem.site.oil.foaming else "still"
    rows = tomlkit.aot()
    for member, bearing in zip(fit.members, fit.bearings.members, strict=True):
        row = tomlkit.table()
        figures = figures_of(fit.problem.site, fit.problem.unknowns, np.array(member.place))
        for path, value in {**figures, **bearing}.items():
            row[path] = written(path, value)
        rows.append(row)
    document[ENSEMBLE] = rows
    return tomlkit.dumps(document)
