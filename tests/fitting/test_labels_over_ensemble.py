"""Labels of traces of a fitted machine: what the members of its ensemble agree on."""

import io
import re
from pathlib import Path

import pytest
from rich.console import Console

from replay.display.machine import machine_view
from replay.ground.refusal import Refusal
from replay.library import read_library
from replay.machine import machine_from, read_machine
from replay.machine.check import check_machine
from replay.machine.found import written
from replay.machine.keys import FIGURES
from replay.physics.agreeing import agreed
from replay.physics.families import generate
from tests.support.command import lubetrip
from tests.support.made_machines import made_machine

UNDECIDED = {"undecided": True}
WELL = {"ride_through": True}


def must(earliest: float, *ends: float) -> dict[str, object]:
    """Return a label of one window."""
    return {
        "must_trip": dict(zip(("earliest_s", "deadline_s", "likely_s", "latest_s"), (earliest, *ends), strict=True))
    }


def with_ensemble(text: str, *members: dict[str, float]) -> str:
    """Return a machine file with members of an ensemble."""
    rows = []
    for member in members:
        told = (
            f'"{path}" = {value!r}'.replace("'", '"') for path, value in ((p, written(p, v)) for p, v in member.items())
        )
        rows.append("\n[[ensemble]]\n" + "\n".join(told) + "\n")
    return text + "".join(rows)


def test_the_deadline_is_a_low_quantile_and_the_window_begins_with_the_trace_itself() -> None:
    """Catches a deadline of the average machine, which half of those that may be it do not live to see."""
    others = [must(90.0 + i, 200.0 + 10.0 * i, 300.0 + 10.0 * i, 400.0 + 10.0 * i) for i in range(1, 9)]

    label, told = agreed(must(100.0, 200.0, 300.0, 400.0), others)

    assert label == must(100.0, 208.0, 340.0, 472.0)
    assert told == "of 9 machines damage is certain on 9, none on 0, possible on 0"


@pytest.mark.parametrize(
    ("own", "others"),
    [
        (must(1.0, 2.0, 3.0, 4.0), [must(1.0, 2.0, 3.0, 4.0)] * 7 + [WELL]),
        (must(1.0, 2.0, 3.0, 4.0), [must(1.0, 2.0, 3.0, 4.0)] * 7 + [UNDECIDED]),
        (WELL, [WELL] * 7 + [UNDECIDED]),
        (UNDECIDED, [WELL] * 8),
        (WELL, [must(1.0, 2.0, 3.0, 4.0)] * 8),
        (must(100.0, 200.0, 300.0, 400.0), [must(20.0, 90.0, 110.0, 120.0)] * 8),
        (must(1.0, 2.0, 3.0, 4.0), [{"must_trip": [{}, {}]}] * 8),
    ],
    ids=["one is well", "one is in doubt", "harm is possible", "own in doubt", "own well", "no room", "two windows"],
)
def test_what_they_do_not_agree_on_is_undecided(own: dict[str, object], others: list[dict[str, object]]) -> None:
    """Catches a label by majority, which is a guess; and a window whose end lies before its beginning."""
    assert agreed(own, others)[0] == UNDECIDED


@pytest.mark.parametrize(("of", "decided"), [(20, True), (19, False)])
def test_one_of_twenty_may_come_to_another_label(of: int, decided: bool) -> None:
    """Catches another share than 95 of a hundred, and a share of the other machines without the trace's own."""
    for own in (WELL, must(1.0, 2.0, 3.0, 4.0)):
        label, told = agreed(own, [own] * (of - 2) + [UNDECIDED])
        assert label == (own if decided else UNDECIDED)
        assert f"of {of} machines" in told


def test_each_window_has_its_own_quantiles() -> None:
    """Catches a second window with the deadline of the first, and a likely figure that is not the middle one."""

    def two(late: float) -> dict[str, object]:
        edges = ({"earliest_s": 10.0 + 1000.0 * n, "deadline_s": 100.0 + 1000.0 * n + late * (n + 1)} for n in range(2))
        return {
            "must_trip": [e | {"likely_s": e["deadline_s"] + 50.0, "latest_s": e["deadline_s"] + 90.0} for e in edges]
        }

    label, _ = agreed(two(0.0), [two(10.0 * n) for n in range(1, 11)])
    assert [[window[key] for key in ("deadline_s", "likely_s", "latest_s")] for window in label["must_trip"]] == [
        [110.0, 200.0, 280.0],
        [1120.0, 1250.0, 1370.0],
    ]


def test_all_well_rides_through() -> None:
    """Catches an ensemble that makes everything undecided."""
    assert agreed(WELL, [WELL] * 8) == (WELL, "of 9 machines damage is certain on 0, none on 9, possible on 0")


def test_members_take_the_place_of_what_the_file_leaves_out() -> None:
    """Catches an ensemble that is read and not used, and a member that changes draws which are not its own."""
    text = made_machine(3, foaming=False).text
    one = {"oil.release_time": 222.0, "behaviour.drying_time_s": 11.0}
    both = machine_from("m", with_ensemble(text, one, {**one, "oil.release_time": 444.0}))
    single = machine_from("m", with_ensemble(text, one))

    site = single.middle()
    found = {machine.middle().oil.release_time_s for machine in both.others(8)}

    assert (site.oil.release_time_s, site.behaviour.drying_time_s) == (222.0, 11.0)
    assert found == {222.0, 444.0}
    assert site.machine == machine_from("m", text).middle().machine


@pytest.mark.parametrize("value", ["'9 kPa'", "-4", "[2, 1]", "true"])
@pytest.mark.parametrize("path", ["oil.release_time", "behaviour.drying_time_s", "oil.no_such"])
def test_a_wrong_member_is_named(path: str, value: str) -> None:
    """Catches an ensemble of another version, or of a hand that slipped, taken in silence."""
    text = made_machine(3).text + f'\n[[ensemble]]\n"{path}" = {value}\n'

    with pytest.raises(Refusal) as done:
        machine_from("m.toml", text)

    assert "ensemble" in str(done.value)
    assert path in str(done.value)
    assert path in FIGURES or "not a key of a machine file" in str(done.value)


@pytest.mark.slow("simulates")
def test_a_member_of_many_makes_the_trace_that_it_makes_alone() -> None:
    """Catches draws of a trace that hang on how many members there are."""
    text = made_machine(3, foaming=False).text
    one = {"oil.release_time": 222.0, "behaviour.drying_time_s": 11.0}
    both = machine_from("m", with_ensemble(text, one, {**one, "oil.release_time": 444.0}))

    alone, first = (machine_from("m", with_ensemble(text, one)), both.others(8)[0])

    made, again = (generate("suction-valve-shut", 0, 7, sites=machine.site) for machine in (alone, first))
    assert (made.oil_pa == again.oil_pa).all()


@pytest.mark.slow("runs families over an ensemble")
def test_a_library_is_labelled_over_the_ensemble(tmp_path: Path) -> None:
    """Catches `synth` that labels a fitted machine as if it were one machine."""
    text = made_machine(3, foaming=False).text
    quick, slow = ({"behaviour.lost_share": lost, "behaviour.wipe_time_s": 3.0} for lost in (0.0024, 0.0007))
    for name, members in (("alike", (quick, quick)), ("apart", (quick, slow))):
        (tmp_path / f"{name}.toml").write_text(with_ensemble(text, *members), encoding="utf-8")
        recipe = ("--families", "suction-valve-shut,pump-drive-broken", "--count", "4", "--seed", "3")
        done = lubetrip("synth", tmp_path / name, "--machine", tmp_path / f"{name}.toml", *recipe)
        assert done.returncode == 0, done.stderr
    alike, apart = (read_library(tmp_path / name).entries for name in ("alike", "apart"))

    assert len(read_machine(tmp_path / "apart.toml").members) == 2
    assert all("damage is certain on" in entry.origin for entry in (*alike, *apart))
    decided = [(a, b) for a, b in zip(alike, apart, strict=True) if a.windows and b.windows]
    widths = [[w.end_s - w.deadline_s for w in (a.windows[0], b.windows[0])] for a, b in decided]
    assert any(b.label == "undecided" for a, b in zip(alike, apart, strict=True) if a.windows) or any(
        b > a for a, b in widths
    )


def test_what_a_fit_has_found_is_said_to_be_fitted() -> None:
    """Catches a report that calls assumed what the runs have told, or fitted what they have not."""
    text = made_machine(3, foaming=False).text + '\n[fit]\nnot_told = ["oil.foam_life"]\n'
    checked = check_machine(machine_from("m", with_ensemble(text, {"oil.release_time": 444.0, "oil.foam_life": 0.3})))

    of = ("oil.release_time", "oil.foam_life", "oil.boil_time", "compressor.clearance")
    assert [checked.status[path] for path in of] == ["fitted", "assumed", "assumed", "measured"]
    shown = Console(width=200, record=True, file=io.StringIO())
    shown.print(machine_view(checked))
    told = shown.export_text()
    assert re.search(r"fitted +oil.release_time *\n", told)
    assert re.search(r"refrigerant in running oil( +[0-9]+\.[0-9] %){3}", told)
    assert re.search(r"sump warming( +[0-9.]+ min){3}", told)
