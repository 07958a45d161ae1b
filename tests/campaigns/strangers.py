"""Strangers campaign: of whose logs a fit refuses before it begins, its own machine's or another's.

Each machine is made anew (`tests.support.made_machines`). Its own runs are shown to its own file, then the runs of the
next machine, then one run of each; once with the healthy net oil pressure as wide as the description has it, once as a
maker's sheet would state it, 5 % off. What is not refused is fitted: the other machine lies within the ranges.
"""

import functools
from collections import Counter
from dataclasses import replace

import click

from replay.engine.workers import workers
from replay.fitting.belonging import refuse_strangers
from replay.fitting.members import Errors, Problem
from replay.fitting.runs import Run, refuse_other_machine
from replay.fitting.unknowns import unknowns_of
from replay.ground.refusal import Refusal
from replay.machine import MachineFile, machine_from
from replay.physics.drawing import FOAMING, STILL
from tests.results import close, record_option
from tests.support.made_machines import RUNS, Made, made_machine, run_from

WHOSE = ("its own", "the next one's", "one of each")


def refused(machine: MachineFile, runs: list[Run]) -> str:
    """Return why a fit would not take runs for this machine's, "" if it would."""
    site = machine.middle(FOAMING if machine.stated["oil.behaviour"] == "foaming" else STILL)
    unknowns = unknowns_of(site, machine.stated, runs)
    try:
        for run in runs:
            refuse_other_machine(run, *machine.ends())
        refuse_strangers([Problem(site, unknowns, tuple(runs), (Errors(),) * len(runs))], machine.file)
    except Refusal as error:
        return str(error)
    return ""


def with_pressure(made: Made, share: float) -> MachineFile:
    """Return a machine's description with its healthy net oil pressure times share."""
    pressure = f'"{share * made.site.behaviour.healthy_net_pa / 1000:.1f} kPa"'
    return machine_from("machine.toml", made.text.replace('["100 kPa", "200 kPa"]', pressure))


def runs_of(made: Made) -> list[Run]:
    """Return the runs of a machine with its speed as logged."""
    return [replace(run_from(made, name), speed_rpm=made.site.speed_rpm) for name in RUNS]


def verdicts(seed: int) -> dict[tuple[str, str], str]:
    """Return by what is stated and whose runs they are why a machine's file refuses them."""
    made, other = made_machine(seed), made_machine(seed + 1)
    own, others = runs_of(made), runs_of(other)
    shown = dict(zip(WHOSE, (own, others[:2], [own[0], others[1]]), strict=True))
    files = {"as wide": made.described, "stated": with_pressure(made, 1.05)}
    return {(how, whose): refused(file, runs) for how, file in files.items() for whose, runs in shown.items()}


@click.command()
@click.option("--machines", "count", default=30, show_default=True, help="To make.")
@click.option("--first", default=5000, show_default=True, help="Seed of the first.")
@click.option("--jobs", default=1, show_default=True, help="Machines at a time.")
@record_option
def strangers(count: int, first: int, jobs: int, record: bool) -> None:
    """Count own and others' runs that made machines' files refuse."""
    counts: Counter[tuple[str, str]] = Counter()
    with workers(jobs) as each:
        for seed in range(first, first + count, jobs):
            seeds = range(seed, min(seed + jobs, first + count))
            for its, found in zip(seeds, each(functools.partial(verdicts), seeds), strict=True):
                for key, why in found.items():
                    counts[key] += bool(why)
                    if why and key[1] == WHOSE[0]:
                        click.echo(f"{its:6d}  pressure {key[0]}, its own runs refused: {why}")
    told = (
        f"pressure {how}: " + ", ".join(f"{whose} {counts[how, whose]}" for whose in WHOSE)
        for how in ("as wide", "stated")
    )
    close(f"of {count} made machines, runs refused by whose they are: {'; '.join(told)}", record=record)
