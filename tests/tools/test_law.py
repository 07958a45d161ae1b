"""The law campaign: the law in use is the logic itself, others do what their words say, and what is chosen was in budget."""

import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from protect import ranges
from protect import settings as rules
from replay.engine import compiled
from replay.settings import Settings, read_settings
from tests.campaigns import law, law_candidates, law_draws, law_traces
from tests.campaigns.law import DEMO, FOR_NOTHING, RAN_ON, Difference, Part, choose, difference, mark
from tests.campaigns.law_candidates import COUNTED, DOUBTED, ELAPSED, NET, NO_STOP, RUNNING, SEEN, SUCTION
from tests.campaigns.law_draws import NAMES, PSI, UNWEIGHTED, Drawn, drawn
from tests.campaigns.law_traces import FAMILIES, Ticks, Which

pytestmark = pytest.mark.slow("compiles what only it runs")

HEALTHY, LOW = 20.0, 1.0  # psi


def alone(law: list[int], base: Settings) -> Settings:
    """Return the settings of a law without a reload guard, which no law of the campaign has."""
    values = law[: ranges.SETTINGS_SIZE]
    values[ranges.RELOAD] = values[ranges.SUCTION_MOST]
    rules.derive(values)
    return replace(base, values=tuple(values))


@pytest.mark.parametrize("sites", ["invented", "other"])
def test_the_law_in_use_is_the_logic_itself(sites: str) -> None:
    """Catches a law that is slandered: another grace, another doubt, another drain, or ticks lost in being put together."""
    base = read_settings(DEMO)
    laws = drawn(base, 12, 5)
    places = [*laws.of("integral"), *laws.of(UNWEIGHTED)]
    stopped = 0
    for number, family in enumerate(FAMILIES[::2]):
        _, made = law_traces.made(Which(sites, family, number, 606))
        trace = law_traces.as_trace(made)
        found = law_traces.stops_on(law_traces.together(law_traces.ticks_of(trace, base)), laws.values[places])
        for place, stop in zip(places, found, strict=True):
            stops = compiled.replay_trace(trace, alone(laws.values[place].tolist(), base)).stops
            assert stop == (stops[0].time_ms if stops else NO_STOP), (family, place)
            stopped += bool(stops)
    assert stopped > len(places)


def ticks(*stretches: tuple[float, float], suction_pa: int = 200_000) -> Ticks:
    """Return a running machine a second a tick: (s, net oil pressure in psi) of each stretch."""
    net = np.concatenate([np.full(round(seconds), psi * PSI) for seconds, psi in stretches])
    rows = np.zeros((law_candidates.TICK_ROWS, len(net)), np.int64)
    rows[RUNNING], rows[NET], rows[SUCTION] = 1, net, suction_pa
    rows[[SEEN, COUNTED, ELAPSED]] = 1000
    rows[DOUBTED] = 0
    return Ticks(rows, 1000 * np.arange(1, len(net) + 1), None)


def stop_s(its: Ticks, name: str, **numbers: float) -> float | None:
    """Return when a law stops a machine, in s; numbers: of the law, in psi, s and weights."""
    base = read_settings(DEMO)
    values = law_draws.own(base)
    values[ranges.CUT_OUT], values[ranges.CUT_IN], values[ranges.FLOOR] = (round(psi * PSI) for psi in (5.0, 8.0, 4.0))
    values[ranges.FLOOR_WEIGHT] = values[ranges.VACUUM_WEIGHT] = values[ranges.RECOVERY] = ranges.ONE
    values[ranges.TRIP_DELAY] = 30_000
    values[law_candidates.KIND] = law_candidates.KINDS.index(name)
    for key, number in numbers.items():
        values[getattr(law_candidates, key, None) or getattr(ranges, key)] = round(number)
    rules.derive(values)
    (found,) = law_traces.stops_on(its, np.array([values]))
    return None if found == NO_STOP else float(found) / 1000


PULSING = [(100.0, HEALTHY), *[(9.0, LOW), (1.0, 9.0)] * 20]


@pytest.mark.parametrize(
    ("name", "numbers", "stretches", "stop"),
    [
        ("timer", {}, [(10.0, HEALTHY), (60.0, LOW)], 40.0),
        ("timer", {}, PULSING, None),
        ("integral", {}, PULSING, 136.0),  # 8 s of each 10
        ("pulse", {"SPAN": 0.0}, PULSING, None),
        ("pulse", {"SPAN": 2000.0}, PULSING, 133.0),  # 9 s of each 10: none of the pulses is credible
        ("held", {"SPAN": 5000.0, "CAP": 60_000.0}, [(10.0, HEALTHY), (60.0, LOW)], 40.0),
        ("held", {"SPAN": 20_000.0, "CAP": 60_000.0}, PULSING, 161.0),  # full at 136 s, held off as long as it may
        ("share", {"SPAN": 64_000.0}, PULSING, 133.0),
        ("share", {"SPAN": 32_000.0}, PULSING, None),  # never 30 s of 32
        ("levels", {"FLOOR_WEIGHT": 3 * ranges.ONE}, [(10.0, HEALTHY), (60.0, 4.5)], 40.0),
        ("levels", {"FLOOR_WEIGHT": 3 * ranges.ONE}, [(10.0, HEALTHY), (60.0, LOW)], 20.0),
        ("mean", {"SPAN": 14, "CAP": 9 * PSI}, [(10.0, HEALTHY), (60.0, 0.0)], 20.0),  # 16.4 ln(9/5) = 9.6 s
        ("pressure", {"FACTOR": (256 * ranges.ONE) / PSI}, [(50.0, LOW), (0.0, HEALTHY)], 30.0),
        ("vacuum", {}, [(10.0, HEALTHY), (60.0, LOW)], None),
    ],
)
def test_each_law_does_what_its_words_say(
    name: str, numbers: dict[str, float], stretches: list[tuple[float, float]], stop: float | None
) -> None:
    """Catches an idea that lost because it was written down wrongly."""
    assert stop_s(ticks(*stretches), name, **numbers) == stop


def test_a_law_weighs_otherwise_while_suction_falls_and_counts_in_a_vacuum() -> None:
    """Catches a mean that does not follow, a share taken the other way round, and a vacuum on the wrong side."""
    steady = ticks((100.0, HEALTHY), (60.0, LOW))
    fallen = ticks((100.0, HEALTHY), (60.0, LOW))
    fallen.rows[SUCTION, 100:] = 50_000
    half = {"SPAN": 17, "CAP": 0.5 * ranges.ONE, "FACTOR": 2 * ranges.ONE}

    assert stop_s(steady, "falling", **half) == 130.0
    assert stop_s(fallen, "falling", **half) == 115.0
    assert stop_s(fallen, "vacuum") == 130.0


def test_a_drain_by_pressure_is_quicker_with_more_of_it() -> None:
    """Catches a drain that does not see the pressure."""
    stretches = [(20.0, LOW), (5.0, 12.0), (60.0, LOW)]  # 4 psi above the cut-in
    same, doubled = ({"FACTOR": share * 256 * ranges.ONE / (4 * PSI)} for share in (0, 1))

    assert stop_s(ticks(*stretches), "pressure", **same) == 25.0 + 15.0
    assert stop_s(ticks(*stretches), "pressure", **doubled) == 25.0 + 20.0


def test_health_within_the_start_grace_drains_and_a_stop_on_a_sensor_stops_every_law() -> None:
    """Catches a debt that outlasts a restart in full health, and a law that runs on where the checks have stopped."""
    stretches = ticks((20.0, LOW), (15.0, HEALTHY), (20.0, LOW))
    stretches.rows[COUNTED, 20:35] = 0

    assert stop_s(stretches, "integral") is None  # 20 s, 5 s, 25 s
    for checked_ms, stop in ((10_000, 10.0), (40_000, 35.0), (None, 35.0)):
        low = ticks((5.0, HEALTHY), (60.0, LOW))._replace(checked_ms=checked_ms)
        assert stop_s(low, "integral") == stop
    assert stop_s(ticks((50.0, HEALTHY))._replace(checked_ms=10_000), "timer") == 10.0


def test_a_stop_is_worth_what_it_leaves() -> None:
    """Catches an early stop that is taken for a hit, a miss for none, and an upset that counts the other way round."""
    stops = np.array([NO_STOP, 9_999, 10_000, 20_000, 20_100])

    assert mark((10_000, 20_000), stops).tolist() == [RAN_ON, FOR_NOTHING, 100, 0, -1]
    assert mark(None, stops).tolist() == [RAN_ON, *[FOR_NOTHING] * 4]


def part(marks: Any, faults: list[bool]) -> Part:
    """Return a part of some marks, int16[traces, laws]."""
    table = np.array(marks, np.int16)
    return Part("p", ("f",) * len(table), np.array(faults), table, table)


def test_the_fewest_stops_within_the_budget_are_chosen() -> None:
    """Catches a choice beyond the budget, by missed faults alone, or that looks at the part it is shown on."""
    base = read_settings(DEMO)
    laws = Drawn(np.zeros((4, law_candidates.LAW_SIZE), np.int64), ("timer",) * 4)
    one = part(
        [[500, 70, RAN_ON, 500], [500, 500, 500, 300], [FOR_NOTHING, RAN_ON, RAN_ON, FOR_NOTHING]], [True, True, False]
    )

    assert choose(one, "marks", laws, "timer", 0, base) == 0  # of equal ones that with more time
    assert choose(one, "marks", laws, "timer", 1, base) == 1  # 7 s are less than the least margin of 8 s
    assert choose(one, "marks", laws, "held", 1, base) is None


def test_a_paired_difference_covers_what_is_true() -> None:
    """Catches an interval that looks at the pairs as if they were none, and one that is certain of what it never saw."""
    draw = np.random.default_rng(3)
    covered = 0
    for _ in range(300):
        both, one, other = draw.random((3, 400))
        a, b = (both < 0.05) | (one < 0.02), (both < 0.05) | (other < 0.01)
        its = difference(a, b)
        covered += its.low <= 0.95 * 0.01 <= its.high
    nothing = difference(np.zeros(400, bool), np.zeros(400, bool))

    assert covered >= 276  # 92 %
    assert (nothing.value, nothing.p) == (0.0, 1.0)
    assert nothing.low < 0.0 < nothing.high


def test_a_winner_wins_on_every_part_and_not_by_more_faults_left_thin() -> None:
    """Catches a law that is praised for one part, for chance, or for stops that it paid for with faults."""
    fewer, chance, dearer = (Difference(v, v - w, v + w, 0.5) for v, w in ((-0.02, 0.01), (-0.02, 0.03), (0.02, 0.01)))

    def row(name: str, stops: Difference, thin: Difference) -> law.Row:
        return law.Row(name, "", 9, 9, 0, 0, 0, 0, 1.0, 1.0, 1.0, stops, thin)

    def tables(*told: tuple[Difference, Difference]) -> list[law.Table]:
        rows = [(row("integral", chance, chance), row("integral", chance, chance), row("held", *one)) for one in told]
        shown = [law.Table(str(part), "marks", 0.1, its) for part, its in enumerate(rows)]
        return [*shown, law.Table("0", "marks", 0.2, rows[0][:2])]  # a further budget asks nothing

    assert law.wins(tables((fewer, chance), (fewer, fewer))) == [law_draws.TOLD["held"]]
    assert law.wins(tables((fewer, chance), (chance, chance))) == []
    assert law.wins(tables((fewer, chance), (fewer, dearer))) == []


def test_the_command_shows_every_law_on_parts_it_was_not_chosen_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a law that falls out of the table, and a closing line that speaks of none."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    asked = ["--each", "2", "--laws", "6", "--obeying", "1", "--plot", str(tmp_path / "law.svg")]
    done = CliRunner().invoke(law.law, asked, catch_exceptions=False)

    assert done.exit_code == 0
    assert all(law_draws.TOLD[name] in done.output for name in NAMES)
    assert "fresh traces of the same site" in done.output and "other machines" in done.output
    assert "better than the law in use everywhere: none" in done.output
    assert " of 17 | " in done.output and "of 17 machines that obey: these settings" in done.output
    assert (tmp_path / "law.svg").read_bytes().startswith(b"<?xml")
