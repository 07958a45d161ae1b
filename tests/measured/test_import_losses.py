"""What an import says first of what it lost: each share of its own whole, from a stated one on; marks of quality."""

from collections import Counter
from typing import Any

import numpy as np
import pytest

from replay.measured.assemble import Counts, Mend, Part
from replay.measured.block import BAD, GOOD, NOT_GOOD, UNKNOWN, UNMARKED, Block
from replay.measured.doubts import Net, Readings
from replay.measured.losses import NO_SUCTION, as_entry, judged_share, said_first
from replay.measured.quality import only_good

HOUR = 3_600_000


def counts(**changes: Any) -> Counts:
    """Return what became of 1000 rows, all kept and running for four hours in two parts, with these changes."""
    two = [Part(0, 3 * HOUR, 750), Part(4 * HOUR, 5 * HOUR, 250)]
    given = {"read": 1000, "kept": 1000, "parts": two, "net": Net(run_rows=1000, running=1000)}
    return Counts(**{**given, **changes})


def test_what_is_whole_is_said_by_nothing() -> None:
    """Catches a warning about every log, and one about none."""
    assert (judged_share(counts()), said_first(counts()), as_entry(counts(), constant=False)) == (1.0, [], {})
    assert judged_share(counts(parts=[], lost_ms=0)) == 0.0
    assert as_entry(counts(), constant=True) == {"judged_share": 1.0, "losses": [NO_SUCTION]}


@pytest.mark.parametrize(
    ("change", "judged", "said"),
    [
        ({"lost_ms": HOUR + 1_000}, 80, "20 % of the 5.00 h are lost in gaps"),
        ({"lost_ms": 4 * HOUR}, 50, "50 % of the 8.00 h are lost in gaps"),
        ({"mends": {"a": Mend(rows=201), "b": Mend(rows=99)}}, 70, "30 % of the rows were left out as broken"),
        ({"without_status": 300}, 70, "30 % of the rows have no running status and were left out"),
        ({"net": Net(run_rows=800, running=400)}, 50, "50 % of the running rows have no net oil pressure"),
        (
            {"readings": {"oil_pressure": Readings(missing=250)}},
            100,
            "25 % of the rows have no reading of oil pressure",
        ),
        ({"held": Counter(suction_pressure=400)}, 100, "40 % of the rows hold an older suction pressure"),
        ({"made": 900}, 100, "90 % of the rows were made between those of the file, where readings hold"),
    ],
)
def test_what_was_lost_is_said_with_its_share(change: dict[str, Any], judged: int, said: str) -> None:
    """Catches a share of another whole, and one taken for its neighbour."""
    found = counts(**change)

    assert said_first(found) == [f"Can be judged on {judged} % of its hours.", said]
    assert as_entry(found, constant=False) == {"judged_share": round(judged_share(found), 3), "losses": [said]}


def test_rows_that_were_left_out_of_a_gap_are_lost_once() -> None:
    """Catches rows at a wrong time called judged, since no gap shows where they stood; and a loss counted twice."""
    broken = {"a": Mend(rows=300)}
    assert judged_share(counts(mends=broken)) == pytest.approx(0.7)
    assert judged_share(counts(mends=broken, lost_ms=4 * HOUR)) == pytest.approx(0.5)
    assert judged_share(counts(mends=broken, without_status=100)) == pytest.approx(0.6)
    assert judged_share(counts(mends=broken, without_status=100, made=5000)) == 1.0


@pytest.mark.parametrize(("missing", "said"), [(200, False), (201, True)])
def test_more_than_a_fifth_is_much(missing: int, said: bool) -> None:
    """Catches a bound on the other side."""
    assert bool(said_first(counts(without_status=missing))) == said


def test_readings_that_are_not_good_are_told_of_all_that_were_read() -> None:
    """Catches a share of the rows kept alone, and one signal's count told as another's."""
    seen = {"oil_pressure": Readings(), "suction_pressure": Readings()}
    found = counts(kept=500, readings=seen)
    found.not_good.update(suction_pressure=300)

    assert said_first(found)[1:] == ["30 % of the suction pressure readings are not good"]


def block(**more: Any) -> Block:
    """Return a block of four rows."""
    given: dict[str, Any] = {
        "values": {"oil_pressure": np.array([1.0, 2.0, 3.0, np.nan])},
        "status": {"running": np.array([1, 0, UNKNOWN, 1], np.int8)},
    }
    return Block(np.arange(4), place=str, **(given | more))


def test_only_what_is_marked_good_is_a_reading() -> None:
    """Catches a reading without a mark that is taken, a silent cell that is counted, a status that goes on over a bad one."""
    marks = {
        "oil_pressure": np.array([GOOD, BAD, UNMARKED, UNMARKED], np.int8),
        "running": np.array([GOOD, BAD, BAD, UNMARKED], np.int8),
    }
    silent = {"oil_pressure": np.array([False, False, False, True])}
    found = only_good(block(silent=silent), marks)

    assert found.values["oil_pressure"].tolist()[:1] == [1.0]
    assert np.isnan(found.values["oil_pressure"][1:]).all()
    assert found.status["running"].tolist() == [1, NOT_GOOD, UNKNOWN, NOT_GOOD]
    assert found.not_good == {"oil_pressure": 2, "running": 3}
    assert found.silent["oil_pressure"].tolist() == [False, False, False, True]


def test_a_silent_cell_with_a_mark_says_that_there_is_no_reading() -> None:
    """Catches a bad mark behind which the reading before it holds on."""
    silent = {"oil_pressure": np.array([False, True, True, True])}
    marks = {"oil_pressure": np.array([GOOD, BAD, GOOD, UNMARKED], np.int8)}
    found = only_good(block(silent=silent), marks)

    assert found.silent["oil_pressure"].tolist() == [False, False, False, True]
    assert found.not_good == {"oil_pressure": 1}
    assert only_good(block(), {}).not_good == {}
