"""How many labels of a machine hang on what is assumed."""

from pathlib import Path
from types import SimpleNamespace

import pytest

from replay.fitting import measuring, sensitivity
from replay.fitting.measuring import Forecast
from replay.fitting.sensitivity import FACTORS, Moved, Outcome, moved_site, moves_of
from replay.machine import machine_from
from replay.physics.families import FAMILIES
from tests.support.command import lubetrip
from tests.support.made_machines import made_machine

TEXT = made_machine(3, foaming=False).text


def test_what_is_stated_or_fitted_does_not_move() -> None:
    """Catches a measured value that is doubted, and an assumed one that is forgotten."""
    stated = "\n[behaviour]\ndrying_time_s = 7.0\n"
    fitted = '\n[[ensemble]]\n"oil.release_time" = "300 s"\n'

    moves = moves_of(machine_from("m", TEXT + stated + fitted))

    paths = {one.path for one in moves}
    assert {"behaviour.lost_share", "oil.held_volumes", "compressor.inlet_pocket"} <= paths
    assert not paths & {"behaviour.drying_time_s", "oil.release_time", "compressor.healthy_net_pressure"}
    assert {one.factor for one in moves} == set(FACTORS)


@pytest.mark.parametrize("factor", FACTORS)
def test_a_move_moves_one_value(factor: float) -> None:
    """Catches a move that changes nothing, two values, or one journal of three."""
    site = machine_from("m", TEXT).middle()

    oil = moved_site(site, Moved("oil", "release_time_s", factor))
    film = moved_site(site, Moved("behaviour", "lost_share", factor))

    assert oil.oil.release_time_s == pytest.approx(factor * site.oil.release_time_s)
    assert (oil.machine, oil.behaviour) == (site.machine, site.behaviour)
    assert film.behaviour.lost_share == pytest.approx([factor * one for one in site.behaviour.lost_share])
    assert film.oil == site.oil


def test_changes_are_counted_by_what_they_change(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a case counted twice, and a flip taken for a doubt."""
    told = {
        ("lost_share", 0): Outcome("ride_through", None),
        ("lost_share", 1): Outcome("undecided", None),
        ("release_time_s", 1): Outcome("must_trip", 130.0),
        ("drying_time_s", 0): "cannot be",
    }

    def outcome(_machine: object, move: Moved | None, _seed: int, which: tuple[str, int]) -> Outcome | str:
        usual = Outcome("must_trip", 100.0)
        case = 0 if which[0] == "suction-valve-shut" else 1
        return usual if move is None else told.get((move.name, case), usual)

    monkeypatch.setattr(sensitivity, "_outcome", outcome)
    monkeypatch.setattr(sensitivity, "forecast", lambda *_: Forecast(2, 0, 0.0, ()))

    found = sensitivity.find_sensitivity(machine_from("m", TEXT), cases=2)

    by_name = {(one.moved.name, one.moved.factor): one for one in found.effects}
    lost, slower = by_name["lost_share", 0.7], by_name["release_time_s", 1.3]
    assert (lost.flips, lost.undecided) == (1, 1)
    assert (slower.flips, slower.undecided, slower.median_s) == (0, 0, 15.0)
    assert by_name["drying_time_s", 0.7].failed == "cannot be"
    assert found.effects[0].moved.name == "lost_share"


def test_deadlines_move_by_the_middle_of_what_they_move_either_way(monkeypatch: pytest.MonkeyPatch) -> None:
    """50 s earlier, 20 later, 30 earlier: 30; catches a mean, a sum in which they cancel, and cases or seeds of another kind."""
    names = list(FAMILIES)
    shifts = {(names[0], 0): -50.0, (names[1], 0): 20.0, (names[0], 1): -30.0}
    seen: list[tuple[int, tuple[str, int]]] = []

    def outcome(_machine: object, move: Moved | None, seed: int, which: tuple[str, int]) -> Outcome:
        seen.append((seed, which))
        return (
            Outcome("must_trip", 100.0 + (shifts.get(which, 0.0) if move else 0.0))
            if which in shifts
            else Outcome("undecided", None)
        )

    machine = machine_from("m", TEXT)
    monkeypatch.setattr(sensitivity, "_outcome", outcome)
    monkeypatch.setattr(sensitivity, "moves_of", lambda _: [Moved("behaviour", "lost_share", 1.3)])
    monkeypatch.setattr(sensitivity, "forecast", lambda *_: Forecast(2, 0, 0.0, ()))
    monkeypatch.setattr(type(machine), "left_out", lambda _: ())
    (effect,) = sensitivity.find_sensitivity(machine, cases=len(names) + 1, seed=5).effects

    assert (effect.median_s, effect.flips, effect.undecided) == (30.0, 0, 0)
    assert {which for _, which in seen} == {(name, 0) for name in names} | {(names[0], 1)}
    assert {seed for seed, _ in seen} == {5}


def test_of_several_windows_the_first_deadline_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches the last of them, and a case that is labelled without its failed sensor."""
    labels = iter(
        [{"must_trip": [{"deadline_s": one}, {"deadline_s": two}]} for one, two in ((100.0, 900.0), (130.0, 905.0))]
    )
    asked: list[float] = []
    monkeypatch.setattr(sensitivity, "case_of", lambda *_, **__: SimpleNamespace(chain=SimpleNamespace(fault_s=7.0)))
    monkeypatch.setattr(sensitivity, "simulate", lambda _case: None)
    monkeypatch.setattr(sensitivity, "label_of", lambda _, fault_s: asked.append(fault_s) or next(labels))
    monkeypatch.setattr(sensitivity, "moves_of", lambda _: [Moved("behaviour", "lost_share", 1.3)])
    monkeypatch.setattr(sensitivity, "forecast", lambda *_: Forecast(1, 0, 0.0, ()))
    (effect,) = sensitivity.find_sensitivity(machine_from("m", TEXT), cases=1).effects

    assert (effect.median_s, asked) == (30.0, [7.0, 7.0])


@pytest.mark.slow("moves every value on a case")
def test_one_command_and_one_plot(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a report that cannot be made of what is found."""
    monkeypatch.setattr(measuring, "MACHINES", 24)
    file = tmp_path / "machine.toml"
    file.write_text(TEXT, encoding="utf-8")

    done = lubetrip("machine", "sensitivity", file, "--cases", "1", "--plot", tmp_path / "s.svg")

    assert done.returncode == 0, done.stderr
    assert "What to measure next" in done.stdout
    assert "a run in which nothing happens: would settle" in " ".join(done.stdout.split())
    assert "moves change no label" in done.stdout
    assert (tmp_path / "s.svg").stat().st_size > 1000
