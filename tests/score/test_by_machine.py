"""Limits whose trials are machines: in which of them each event could have come, and in which it did."""

from pathlib import Path

import pytest

from replay.ground.statistics import proportion_upper
from replay.score import Verdict, score_library
from replay.score.by_machine import seen_of
from replay.score.once import folded
from replay.score.windows import Found, Upsets
from replay.settings import Acceptance
from tests.conftest import SETTINGS, entry
from tests.support.fooling import FAULT, RIDE, faulty, healthy, noisy

UPSET = RIDE + "\nupsets = [[90.0, 200.0]]"
LATE = FAULT.replace("deadline_s = 250.0", "deadline_s = 110.0")
THIN = FAULT.replace("deadline_s = 250.0", "deadline_s = 150.0")


def dip(second: int) -> float:
    """Return a net oil pressure that is gone for a while, and comes back."""
    return 5.0 if 100 <= second < 190 else 120.0


# Machine -> its traces, each readings and label.
MACHINES = {
    "hit": [(faulty, FAULT), (healthy, RIDE)],
    "hit too": [(faulty, FAULT)],
    "missed": [(faulty, FAULT), (faulty, LATE)],
    "thin": [(faulty, THIN)],
    "nuisance": [(dip, RIDE), (dip, RIDE)],
    "early": [(lambda s: dip(s) if s < 400 else 5.0, "must_trip = { earliest_s = 800.0, deadline_s = 950.0 }")],
    "ridden": [(healthy, UPSET)],
    "stopped": [(dip, UPSET), (healthy, UPSET)],
    "quiet": [(healthy, RIDE)],
    "unsaid": [(faulty, "undecided = true")],
}


def test_each_event_is_counted_over_the_machines_in_which_it_could_have_come(tmp_path: Path) -> None:
    """Catches rules that are exchanged, a machine counted where nothing could come, and a thin margin or a miss left out."""
    text = 'settings = "settings.toml"\n'
    (tmp_path / "settings.toml").write_text(SETTINGS)
    for machine, traces in MACHINES.items():
        for number, (net, label) in enumerate(traces):
            name = f"{machine}-{number}"
            (tmp_path / f"{name}.csv").write_text(noisy(sum(map(ord, name)), 1000, net))
            one = entry(name, label).replace('machine = "m"', f'machine = "{machine}"')
            text += one.replace("synthetic: by hand", "recorded: store 4")
    (tmp_path / "library.toml").write_text(text)
    found = score_library(tmp_path)
    told = {claim.rule: (claim.events, claim.of) for claim in found.by_machine.claims}
    outcomes = {verdict.id: verdict.outcome for verdict in found.verdicts}

    assert (outcomes["hit-0"], outcomes["missed-1"], outcomes["thin-0"]) == ("hit", "missed", "hit")
    assert (outcomes["nuisance-0"], outcomes["early-0"], outcomes["stopped-0"]) == ("nuisance", "early", "nuisance")
    assert told == {
        "max_missed_probability": (1, 4),
        "max_nuisance_per_1000h": (3, 6),
        "min_margin_coverage": (2, 4),
        "max_nuisance_probability": (1, 2),
    }
    assert (found.by_machine.unit, found.by_machine.machines) == ("machine", 9)
    missed = found.by_machine.claims[0]
    assert missed.upper == pytest.approx(proportion_upper(1, 4, 0.95))


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("K1", " k1 ", True),
        ("Gro\u00dfe Halle", "GROSSE HALLE", True),
        ("\uff2b1", "K1", True),  # a wide letter
        ("\u00e9tage 2", "e\u0301tage  2", True),
        ("K1", "K 1", False),
        ("K1", "K11", False),
    ],
)
def test_a_name_is_one_as_a_reader_hears_it(one: str, other: str, same: bool) -> None:
    """Catches two machines that are one by its spelling, and one that is two."""
    assert (folded(one) == folded(other)) is same


def found(outcome: str, margin: float | None = None) -> Found:
    """Return a window and what became of it."""
    return Found(10.0, 100.0, None, None, outcome, None, margin, None, None)


def one(outcome: str, *windows: Found, hours: float = 1.0, nuisance: int = 0, upsets: Upsets | None = None) -> Verdict:
    """Return a verdict of one trace."""
    return Verdict(
        "t", "f", outcome, None, None, None, None, hours, 0, locked_out=False,
        nuisance_trips=nuisance, windows=windows, upsets=upsets,
    )  # fmt: skip


HIT, SHORT, GONE, SOON = found("hit", 30.0), found("hit", 29.999), found("missed"), found("early")
SEEN = [
    (one("hit", HIT), (True, False, True, False), (False, False, False, False)),  # just the least margin is not thin
    (one("hit", HIT, SHORT), (True, False, True, False), (False, False, True, False)),
    (one("missed", HIT, GONE), (True, False, True, False), (True, False, True, False)),
    (one("early", SOON, nuisance=1), (False, True, False, False), (False, True, False, False)),
    (one("rode_through"), (False, True, False, False), (False, False, False, False)),
    (one("rode_through", hours=0.0), (False, False, False, False), (False, False, False, False)),
    (one("nuisance", hours=0.0, nuisance=1), (False, True, False, False), (False, True, False, False)),
    (one("rode_through", upsets=Upsets(1, 0, 0, 0, 1.0)), (False, True, False, True), (False, False, False, False)),
    (
        one("nuisance", nuisance=1, upsets=Upsets(0, 1, 0, 0, 1.0)),
        (False, True, False, True),
        (False, True, False, True),
    ),
    (one("rode_through", upsets=Upsets(0, 0, 1, 0, 1.0)), (False, True, False, False), (False, False, False, False)),
]


@pytest.mark.parametrize(("verdict", "could", "did"), SEEN)
def test_what_a_trace_shows_of_its_machine(verdict: Verdict, could: tuple[bool, ...], did: tuple[bool, ...]) -> None:
    """Catches a margin of just the least called thin, an early stop as a chance to miss, and an upset that was stood over."""
    seen = seen_of("m", verdict, Acceptance(0, 0.0, 30.0))

    assert (seen.machine, seen.could, seen.did) == ("m", could, did)
