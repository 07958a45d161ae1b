"""What one more measurement would tell: a useless one settles nothing, whatever chance does."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from replay.fitting import measuring
from replay.fitting.measuring import MACHINES, forecast, open_labels, settles
from replay.machine import machine_from
from replay.machine.found import FOUND
from replay.machine.template import machine_template
from tests.support.machines import LARGE, SMALL, machine
from tests.support.made_machines import made_machine

MUST, RIDE, OPEN = range(3)


def drawn(seed: int = 1, labels: int = 12) -> tuple[np.ndarray, np.ndarray]:
    """Draw what machines really are, and labels that hang on the first figure of it."""
    generator = np.random.default_rng(seed)
    truth = generator.standard_normal((MACHINES, 4))
    levels = np.linspace(-0.6, 0.6, labels)
    kinds = np.where(truth[:, 0] > levels[:, None], MUST, RIDE)
    return truth, kinds


def readings(figures: np.ndarray, seed: int = 2) -> np.ndarray:
    """Return curves of some samples that follow figures, in the size of their error."""
    generator = np.random.default_rng(seed)
    return 20.0 * figures @ generator.standard_normal((figures.shape[1], 50))


def test_a_measurement_that_shows_what_labels_hang_on_settles_most_and_a_useless_one_none() -> None:
    """Catches a ranking turned round, and machines that agree by chance taken for what a measurement told."""
    truth, kinds = drawn()
    noise = np.random.default_rng(3).standard_normal((MACHINES, 50))

    telling, _ = settles(kinds, readings(truth[:, :1]))
    mixed, _ = settles(kinds, readings(truth[:, :3]))
    other, error = settles(kinds, readings(truth[:, 1:]))
    useless, _ = settles(kinds, noise)

    assert telling > 0.7
    assert telling > mixed > 0.15
    assert abs(other) < 0.06 + 3.0 * error
    assert abs(useless) < 0.06


def test_what_machines_agree_on_by_chance_is_taken_off() -> None:
    """Catches a label nearly settled already, which any eight machines agree on, credited to a useless measurement."""
    kinds = np.full((4, MACHINES), RIDE)
    kinds[:, :12] = MUST

    useless = [settles(kinds, np.random.default_rng(seed).standard_normal((MACHINES, 20)))[0] for seed in range(12)]

    assert abs(float(np.mean(useless))) < 0.03


def test_no_machine_tells_its_own_label() -> None:
    """Catches a figure learnt on the very machine that it is reckoned for: a finding shared by all would settle all."""
    _, kinds = drawn()
    told = []
    for seed in range(8):
        found = np.repeat(np.array([[0.0], [10.0]]), MACHINES // 2, axis=0)
        np.random.default_rng(seed).shuffle(found)
        told.append(settles(kinds, found)[0])

    assert abs(float(np.mean(told))) < 0.03


def test_labels_that_machines_agree_on_are_not_open() -> None:
    """Catches a label that is settled already counted as something to settle, and a doubt on each machine left out."""
    kinds = np.full((4, MACHINES), MUST)
    kinds[1, :40] = RIDE
    kinds[2, :] = OPEN
    kinds[3, :2] = RIDE

    assert open_labels(kinds).tolist() == [False, True, True, False]
    assert settles(kinds[:1], np.zeros((MACHINES, 3))) == (0.0, 0.0)


def test_what_is_known_is_the_same_in_all_machines() -> None:
    """Catches a stated or fitted value that is doubted, and a bearing that is taken as known."""
    text = made_machine(3, foaming=False).text + "\n[behaviour]\ndrying_time_s = 7.0\n"
    text += '\n[[ensemble]]\n"oil.release_time" = "300 s"\n\n[[ensemble]]\n"oil.release_time" = "310 s"\n'

    sites = [one.site for one in measuring.possible(machine_from("m", text), 12, 1)]

    assert {site.behaviour.drying_time_s for site in sites} == {7.0}
    assert {round(site.oil.release_time_s) for site in sites} == {300, 310}
    assert len({site.behaviour.lost_share for site in sites}) == len(sites)
    assert len({site.chain.oil.offset_pa for site in sites}) == len(sites)


def test_what_all_machines_show_alike_tells_nothing() -> None:
    """Another level of each reading, the same for all; catches readings told from one level, and an error of one machine."""
    truth, kinds = drawn()
    shown = readings(truth[:, :2])
    told, error = settles(kinds, shown)

    assert settles(kinds, shown + 100.0 * np.arange(shown.shape[1])) == pytest.approx((told, error), abs=1e-6)
    assert 0.001 < error < 0.06


def test_measurements_stand_by_what_they_settle_of_the_labels_that_are_open(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a ranking turned round, and a share of all labels where that of the open ones is asked."""
    truth, kinds = drawn()
    kinds = np.vstack([kinds, np.full((4, MACHINES), MUST)])
    kinds[0, :16] = OPEN
    noise = np.random.default_rng(3).standard_normal((MACHINES, 50))
    shows = {"useless": noise, "telling": readings(truth[:, :1]), "mixed": readings(truth[:, :3])}
    monkeypatch.setattr(measuring, "possible", lambda *_: list(range(MACHINES)))
    monkeypatch.setattr(
        measuring,
        "measurements",
        lambda _: [measuring.Measurement(name, its.__getitem__) for name, its in shows.items()],
    )
    nothing: Any = None
    found = forecast(nothing, [("x", 0)] * 16, 7, lambda *_: kinds.tolist(), None)
    asked = int(open_labels(kinds).sum())

    assert [one.name for one in found.told] == ["telling", "mixed", "useless"]
    assert (found.cases, found.open) == (16, asked)
    assert found.most == pytest.approx(1.0 - 16 / (asked * MACHINES))


def test_cases_are_labelled_with_the_sensors_that_fail_in_them(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a window that begins with a spell where it begins with a failed sensor."""
    asked: list[Any] = []
    chain = SimpleNamespace(fault_s=7.0)
    monkeypatch.setattr(
        measuring, "possible", lambda *_: [SimpleNamespace(machine=SimpleNamespace(site=n)) for n in range(3)]
    )
    monkeypatch.setattr(measuring, "measurements", lambda _: [])
    monkeypatch.setattr(
        measuring, "case_of", lambda *which, sites: asked.append((*which, sites)) or SimpleNamespace(chain=chain)
    )
    monkeypatch.setattr(measuring, "simulate", lambda _case: None)
    monkeypatch.setattr(measuring, "label_of", lambda _, fault_s: asked.append(fault_s) or {"undecided": True})
    nothing: Any = None
    forecast(nothing, [("x", 4)], 9, lambda task, items, _: [task(one) for one in items], None)

    assert asked == [("x", 4, 9, 0), 7.0, ("x", 4, 9, 1), 7.0, ("x", 4, 9, 2), 7.0]


def test_an_inspection_comes_after_its_minutes_without_pressure(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches seconds for minutes, and findings that lie nearer together than anybody could take for one another."""
    seconds: list[float] = []
    monkeypatch.setattr(measuring, "_run", lambda name, *_: measuring.Measurement(name, lambda _: np.zeros(1)))
    monkeypatch.setattr(measuring, "dry_run", lambda _site, seconds_s, **_: seconds.append(seconds_s))
    monkeypatch.setattr(measuring, "found_after", lambda _: FOUND[1])
    found = measuring.measurements(made_machine(3, foaming=False).described)
    one: Any = SimpleNamespace(site=None)
    shown = [its.show(one).tolist() for its in found if "inspection" in its.name]

    assert seconds == [240.0, 480.0, 960.0]
    assert shown == [[10.0]] * 3
    assert found[-1].name == "a run in which nothing happens"


def test_machines_are_drawn_anew_for_each_seed_and_with_both_oils_where_none_is_stated() -> None:
    """Catches the same machines under every seed, and a foam that is never thought of."""
    described = machine_from("m", machine_template())
    one, other, again = (measuring.possible(described, 4, seed) for seed in (1, 2, 1))

    assert [its.site for its in one] == [its.site for its in again]
    assert not {its.site for its in one} & {its.site for its in other}
    assert [its.site.oil.foaming for its in one] == [False, True, False, True]


@pytest.mark.slow("asks the kernel what each machine can hold")
@pytest.mark.parametrize(
    ("base", "evaporating", "throttled"), [(SMALL, "-8 C", 3), (SMALL, "-30 C", 1), (LARGE, "-40 C", 2)]
)
def test_only_levels_that_a_machine_can_hold_are_proposed(base: dict, evaporating: str, throttled: int) -> None:
    """Catches a proposal that no valve can follow, and a traceback for a cold room."""
    names = [one.name for one in measuring.measurements(machine(base, site__evaporating=evaporating))]

    assert len(names) == len(set(names)) == 6 + throttled
    assert sum("throttled" in name for name in names) == throttled


@pytest.mark.slow("labels some cases on a hundred machines")
def test_a_run_in_which_nothing_happens_ranks_below_a_bench_test() -> None:
    """Catches a forecast that sells any further log."""
    described = made_machine(3, foaming=False).described
    cases = [("suction-valve-shut", 0), ("liquid-solenoid-stuck", 0), ("reload-before-film", 0)]

    found = forecast(described, cases, 7, lambda task, items, _: [task(one) for one in items], None)

    by_name = {one.name: one for one in found.told}
    nothing = by_name["a run in which nothing happens"]
    assert found.open == 3
    assert 0.3 < found.most < 1.0
    assert found.told[0].settles > 0.05
    assert abs(nothing.settles) < 0.06
    assert nothing.settles < 0.5 * found.told[0].settles
