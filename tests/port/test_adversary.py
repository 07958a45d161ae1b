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
