"""The walks that the long campaigns take: the draws they are made of, and that they are the same walks as before."""

import hashlib
from collections import Counter

import pytest

from protect import outputs, ranges, settings, state
from protect.protection import step
from replay.port import adversary


def test_a_chance_is_of_sixty_four() -> None:
    """Catches what never is to happen that does at times, and a chance that is twice as large."""
    rng = [7]
    assert not any(adversary.chance(rng, 0) for _ in range(2000))
    assert all(adversary.chance(rng, 64) for _ in range(2000))
    assert 400 < sum(adversary.chance(rng, 16) for _ in range(2000)) < 600


def test_near_is_the_middle_and_its_neighbours_alike() -> None:
    """Catches a threshold of which only one side is tried."""
    rng = [7]
    found = Counter(adversary.near(rng, 100) for _ in range(3000))

    assert set(found) == {99, 100, 101}
    assert min(found.values()) > 800


@pytest.mark.parametrize("below", [1, 2, 3, 64])
def test_draws_go_over_their_whole_range_and_no_further(below: int) -> None:
    """Catches a largest draw that never comes, and one beyond."""
    rng = [12345]

    assert {adversary.draw(rng, below) for _ in range(3000)} == set(range(below))


def walked(seed: int, steps: int) -> tuple[str, list[int]]:
    """Return the digest of a walk's settings and inputs, and its states."""
    rng, values, mood = [seed], [0] * ranges.SETTINGS_SIZE, [0] * adversary.MOOD_SIZE
    adversary.draw_settings(rng, values)
    assert settings.first_fault(values) == settings.ALL_RIGHT
    told, states = hashlib.sha256(repr(values).encode()), []
    memory, inputs, results = [0] * state.STATE_SIZE, [0] * ranges.INPUTS_SIZE, [0] * outputs.OUTPUTS_SIZE
    state.power_up(memory, values)
    for number in range(steps):
        if number % 50 == 0:
            adversary.draw_mood(rng, mood)
        adversary.draw_inputs(rng, memory, values, mood, inputs)
        told.update(repr(inputs).encode())
        step(memory, values, list(inputs), results)
        states.append(memory[state.STATE])
    return told.hexdigest()[:16], states


WALKS = {
    1: "ffecb5a40b1272f4", 2: "a3fa73da3859e083", 3: "98c056ce3423f830", 4: "629fadf163e8f073", 5: "95a937db4e2f2364",
    6: "34a55fb7494b2bc3",
}  # fmt: skip


def test_the_walks_are_those_that_ports_were_held_to() -> None:
    """Catches a walk that goes elsewhere than the counts of the campaigns tell of. Who means it states the new digests."""
    found = {seed: walked(seed, 1500) for seed in WALKS}

    assert {seed: digest for seed, (digest, _) in found.items()} == WALKS
    assert {one for _, states in found.values() for one in states} == set(range(6))


@pytest.mark.parametrize(
    ("where", "left", "drawn"),
    [
        (state.TRIPPED, 600, {599, 600, 601}),
        (state.TRIPPED, 3000, {2999, 3000, 7}),  # 3001 is late, so the time stays as it was
        (state.TRIPPED, 0, {7, 0, 1}),
        (state.LOCKED_OUT, 4600, {599, 600, 601}),  # the hold of the reset begins with the delay
    ],
)
def test_a_stopped_machine_is_led_to_where_it_may_run_again(where: int, left: int, drawn: set[int]) -> None:
    """Catches a press that is never held long enough, so that no campaign comes out of a lockout."""
    rng, values = [7], [0] * ranges.SETTINGS_SIZE
    adversary.draw_settings(rng, values)
    values[ranges.RESTART_DELAY], values[ranges.RESET_HOLD], values[ranges.MAX_GAP] = 5000, 1000, 3000
    memory = [0] * state.STATE_SIZE
    memory[state.STATE], memory[state.RESTART_LEFT] = where, left
    found, rest = set(), set()
    for _ in range(100):
        inputs = [0] * ranges.INPUTS_SIZE
        inputs[ranges.ELAPSED], inputs[ranges.RUN_FEEDBACK], inputs[ranges.CRANKCASE_PRESSURE] = 7, 1, 90_000
        adversary.draw_way_back(rng, memory, values, inputs)
        found.add(inputs[ranges.ELAPSED])
        rest.add((inputs[ranges.RUN_FEEDBACK], inputs[ranges.OIL_PRESSURE]))
        assert inputs[ranges.RESET] == (where == state.LOCKED_OUT)

    assert found == drawn
    assert rest == {(0, 90_000 + net) for net in (-1, 0, 1)}


def test_a_reset_that_is_held_before_it_counts_is_let_go() -> None:
    """Catches a press that was there before the lockout, of which nobody ever lets go, so that it never counts."""
    for flags, pressed in ((0, 1), (state.RESET_HELD, 0), (state.RESET_HELD | state.RESET_PRESSED, 1)):
        memory, inputs = [0] * state.STATE_SIZE, [0] * ranges.INPUTS_SIZE
        memory[state.STATE], memory[state.FLAGS] = state.LOCKED_OUT, flags
        adversary.draw_way_back([7], memory, [0] * ranges.SETTINGS_SIZE, inputs)
        assert inputs[ranges.RESET] == pressed
