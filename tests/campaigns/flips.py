"""Memory faults: bits of state, settings and seals that flip between two steps, with the bare step and with the sealed one.

A bare controller goes on from whatever it finds. A sealed one has to take the same
decisions or to stop: until a person resets it, or for good if the settings are
broken. Flips are tried at the first tick of every state of the day.
"""

import itertools
import random
from collections.abc import Iterable, Iterator

from protect import ranges, seal, state
from replay.port.conform import STEP_NAMES
from tests.campaigns.day import END_S, END_TICK, LOSS_S, RESET_TICK, Day, Flip, Outcome

BITS = range(32)
SETTING_NAMES = (*(row[0] for row in ranges.SETTINGS), "slope", "percent_scale", "reload_level")
SEAL_NAMES = ("state, plain", "state, weighted", "settings, plain", "settings, weighted")
NAMES = {"state": STEP_NAMES[: state.STATE_SIZE], "settings": SETTING_NAMES, "seals": SEAL_NAMES}

SAME = "same decisions"
BARE_VERDICTS = (SAME, "less run short of oil", "more", "never stopped again")
SEALED_VERDICTS = (SAME, "stopped until a reset", "stopped for good", "anything else")


def bare_verdict(sound: Outcome, found: Outcome) -> str:
    """Compare the run of a bare controller with the sound one."""
    if found.permissions == sound.permissions:
        return SAME
    if found.short_s <= sound.short_s:
        return "less run short of oil"
    return "never stopped again" if found.short_s > (END_S - LOSS_S) / 2 else "more"


def sealed_verdict(sound: Outcome, found: Outcome, since: int) -> str:
    """Say what the flips of a tick led to under a sealed controller."""
    if found.permissions == sound.permissions:
        return SAME
    if not any(found.permissions[since:]):
        return "stopped for good"
    return "anything else" if any(found.permissions[since:RESET_TICK]) else "stopped until a reset"


class Moments:
    """The first tick of every state of a sound day, from which days with flips go on."""

    def __init__(self, *, sealed: bool) -> None:
        self.sealed = sealed
        self.sound = Day.begin(sealed=sealed).until(END_TICK).outcome()
        ticks = sorted(self.sound.first.values())
        self.days = [Day.begin(sealed=sealed).until(tick) for tick in ticks]
        self.known: dict[tuple[int, ...], Outcome] = {}

    def after(self, start: Day, flips: Iterable[Flip], *, shared: bool = False) -> str:
        """Flip bits, live on to the end and return the verdict; shared: live days with broken settings once a moment.

        With broken settings no word is read any more. The single flips show it, each of which is lived by itself.
        """
        day = start.copy()
        for flip in flips:
            day.controller.flip(flip)
        day.until(start.tick + 1)
        # Days that are alike after the tick of the flip stay alike, and are lived once.
        content = day.controller.content()
        if shared and day.controller.settings_broken:
            content = (-1, *day.controller.results)
        key = (start.tick, day.world.short_ms, *content)
        if key not in self.known:
            self.known[key] = day.until(END_TICK).outcome()
        if self.sealed:
            return sealed_verdict(self.sound, self.known[key], start.tick)
        return bare_verdict(self.sound, self.known[key])

    def singles(self, array: str, words: Iterable[int], bits: Iterable[int] = BITS) -> dict[int, dict[str, int]]:
        """Flip single bits at every moment; count the verdicts by word."""
        counts = {}
        for word in words:
            counts[word] = dict.fromkeys(SEALED_VERDICTS if self.sealed else BARE_VERDICTS, 0)
            for start, bit in itertools.product(self.days, bits):
                counts[word][self.after(start, [Flip(array, word, bit)])] += 1
        return counts

    def drawn_pairs(self, count: int, seed: int) -> dict[str, int]:
        """Flip so many drawn pairs of bits, anywhere and at any moment; count the verdicts."""
        draw = random.Random(seed)  # noqa: S311 - drawn to be repeated
        places = [Flip(array, word, bit) for array in NAMES for word in range(len(NAMES[array])) for bit in BITS]
        counts = dict.fromkeys(SEALED_VERDICTS if self.sealed else BARE_VERDICTS, 0)
        for _ in range(count):
            counts[self.after(draw.choice(self.days), draw.sample(places, 2), shared=self.sealed)] += 1
        return counts


def pairs_that_pass(words: list[int], at: int, every: int = 1) -> tuple[int, int]:
    """Flip every (or every so-many-th) pair of bits of words and their seal; return how many pairs, and how many pass."""
    size, seals = len(words), [0] * seal.SEALS_SIZE
    seal.seal(words, size, seals, at)
    patterns = [word & 0xFFFFFFFF for word in words]
    places = [(patterns, word, 1 << bit) for word in range(size) for bit in BITS]
    places += [(seals, at + word, 1 << bit) for word in range(2) for bit in BITS]
    tried = passed = 0
    for (one, word, bit), (two, other, another) in itertools.islice(itertools.combinations(places, 2), 0, None, every):
        one[word] ^= bit
        two[other] ^= another
        tried += 1
        passed += seal.holds(patterns, size, seals, at)
        one[word] ^= bit
        two[other] ^= another
    return tried, passed


def every_pair(moments: Moments, every: int = 1) -> Iterator[tuple[str, int, int]]:
    """Yield (array, pairs tried, pairs that pass) for the state of every moment, and for the settings."""
    found = [pairs_that_pass(day.controller.memory, seal.STATE_AT, every) for day in moments.days]
    yield "state", sum(tried for tried, _ in found), sum(passed for _, passed in found)
    yield "settings", *pairs_that_pass(moments.days[0].controller.settings, seal.SETTINGS_AT, every)


def print_counts(title: str, counts: dict[str, dict[str, int]]) -> None:
    """Print verdicts by name, with their sum."""
    verdicts = tuple(next(iter(counts.values())))
    print(f"\n{title}\n{'':18}" + "".join(f"{verdict:>23}" for verdict in verdicts))
    total = {verdict: sum(row[verdict] for row in counts.values()) for verdict in verdicts}
    for name, row in (counts | {"in all": total}).items():
        print(f"{name:18}" + "".join(f"{row[verdict]:23}" for verdict in verdicts))


def by_name(array: str, counts: dict[int, dict[str, int]]) -> dict[str, dict[str, int]]:
    """Return counts under the names of the words."""
    return {NAMES[array][word]: row for word, row in counts.items()}


def print_flips(pairs: int, seed: int) -> tuple[str, bool]:
    """Print what flipped bits lead to; return it in one line, and whether each under the seal stopped or changed nothing."""
    bare, sealed = Moments(sealed=False), Moments(sealed=True)
    moments = f"{len(bare.days)} moments x 32 bits of each word"
    without = by_name("state", bare.singles("state", range(state.STATE_SIZE)))
    print_counts(f"a bit of the state flipped, bare step: {moments}", without)
    found = []
    for array, names in NAMES.items():
        counts = by_name(array, sealed.singles(array, range(len(names))))
        print_counts(f"a bit of the {array} flipped, sealed step: {moments}", counts)
        found += counts.values()
    drawn = sealed.drawn_pairs(pairs, seed)
    print_counts(f"two bits flipped, sealed step: {pairs} drawn pairs from seed {seed}", {"anywhere": drawn})
    print("\nevery pair of bits of words and their seal: pairs, and how many the seal lets pass")
    passing = list(every_pair(sealed))
    for array, tried, passed in passing:
        print(f"{array:18}{tried:23}{passed:23}")
    return summed(list(without.values()), [*found, drawn], passing)


def summed(
    bare: list[dict[str, int]], sealed: list[dict[str, int]], passing: list[tuple[str, int, int]]
) -> tuple[str, bool]:
    """Return what it comes to in one line, and whether the seal let nothing pass."""
    longer = sum(row["more"] + row["never stopped again"] for row in bare)
    pairs, passed = (sum(row[place] for row in passing) for place in (1, 2))
    flips, missed = sum(sum(row.values()) for row in sealed), sum(row["anything else"] for row in sealed)
    told = (
        f"bare: {longer} of {sum(sum(row.values()) for row in bare)} flips let the machine run longer without oil; "
        f"sealed: {flips - missed} of {flips} stopped it or changed no decision, {passed} of {pairs} pairs pass the seal"
    )
    return told, not missed and not passed
