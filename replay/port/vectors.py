"""The conformance vectors: settings, inputs, and the full expected state and outputs of every tick.

Built by replaying `protect` itself over the walks of `walks.txt`, each of which is there because it finds wrong
ports that no other finds (tests/wrong_ports), or goes through something that none else goes through (`coverage`).
Behind the cases stand settings checks, tick differences, and questions on saved records and seals (`questions`). Both
forms, plain text and compact binary, are specified in firmware_ref/README.md; the digest is that of the text.
"""

import hashlib
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from protect import outputs, ranges, settings, state
from protect.protection import step
from replay.engine import logic_digest
from replay.ground.files import write_text, write_whole
from replay.ground.places import check_file
from replay.ground.refusal import refusal
from replay.port import adversary
from replay.port.coverage import Item, Watcher, reachable_ends, settings_items
from replay.port.questions import Exchange, exchanges
from replay.port.walks import WALKS, Walk, read_walks

TITLE = "lubetrip-vectors 2"
SEED = 27
DRAWN_CHECKS = 40
LARGEST = (1 << 31) - 1  # of a signed word
STORIES = 12  # cases on whose last state a record and a seal are asked for

Words = tuple[int, ...]


@dataclass(frozen=True)
class Tick:
    """One step: inputs[6], expected state[16], expected outputs[9]."""

    inputs: Words
    state: Words
    outputs: Words


@dataclass(frozen=True)
class Case:
    """A walk from power-up: settings[29], the state[16] of power-up, and the ticks after it."""

    purpose: str
    settings: Words
    start: Words
    ticks: tuple[Tick, ...]


@dataclass(frozen=True)
class Check:
    """A settings check: values[26], expected first_fault, and derived[3] (zeros where refused)."""

    values: Words
    fault: int
    derived: Words


@dataclass(frozen=True)
class Difference:
    """A tick difference on a counter of so many bits: ms from `before` to `now`, as an admitted elapsed time."""

    bits: int
    now: int
    before: int
    elapsed: int


@dataclass(frozen=True)
class Vectors:
    """A whole set, with the digest of the logic it was made from; `exchanges` are on saved records and seals."""

    logic: str
    cases: tuple[Case, ...]
    checks: tuple[Check, ...]
    differences: tuple[Difference, ...]
    exchanges: tuple[Exchange, ...] = ()

    @property
    def steps(self) -> int:
        """Return the number of ticks in all cases."""
        return sum(len(case.ticks) for case in self.cases)

    @property
    def digest(self) -> str:
        """Return the SHA-256 that stands in the last line of the text form."""
        return hashlib.sha256(self._body().encode()).hexdigest()

    def _body(self) -> str:
        lines = [TITLE, f"logic {self.logic}"]
        for case in self.cases:
            lines += [f"case {case.purpose}", line("settings", case.settings), line("state", case.start)]
            lines += [line("step", (*tick.inputs, *tick.state, *tick.outputs)) for tick in case.ticks]
        lines += [line("check", (*check.values, check.fault, *check.derived)) for check in self.checks]
        lines += [line("ticks", (d.bits, d.now, d.before, d.elapsed)) for d in self.differences]
        lines += [part for asked, answer in self.exchanges for part in (f"ask {asked}", f"answer {answer}")]
        return "\n".join(lines) + "\n"

    def text(self) -> str:
        """Return the plain text form."""
        body = self._body()
        return f"{body}digest {hashlib.sha256(body.encode()).hexdigest()}\n"

    def binary(self) -> bytes:
        """Return the compact form, cases, checks and ticks: 32-bit little-endian words, of a tick only what changed."""
        words: list[int] = []
        for case in self.cases:
            words += [CASE, *case.settings, *case.start]
            last = (*[0] * ranges.INPUTS_SIZE, *case.start, *[0] * outputs.OUTPUTS_SIZE)
            for tick in case.ticks:
                now = (*tick.inputs, *tick.state, *tick.outputs)
                changed = [place for place in range(TICK_SIZE) if now[place] != last[place]]
                words += [sum(1 << place for place in changed), *(now[place] for place in changed)]
                last = now
        for check in self.checks:
            words += [CHECK, *check.values, check.fault, *check.derived]
        for d in self.differences:
            words += [TICKS, d.bits, d.now, d.before, d.elapsed]
        words.append(END)
        packed = struct.pack(f"<{len(words)}I", *(word & 0xFFFFFFFF for word in words))
        return MAGIC + bytes.fromhex(self.digest) + packed


MAGIC = b"LTV2"
TICK_SIZE = ranges.INPUTS_SIZE + state.STATE_SIZE + outputs.OUTPUTS_SIZE
# Marks of the binary form. The mask of a tick has 31 bits, so bit 31 tells a mark from it.
CASE, CHECK, TICKS, END = 0x80000001, 0x80000002, 0x80000003, 0x80000000


def line(word: str, numbers: Words) -> str:
    """Return a line of a word and numbers, of a vector file or of the protocol."""
    return f"{word} {' '.join(map(str, numbers))}"


def build() -> Vectors:
    """Build the set from `protect` as it is: the walks that tell wrong ports, and what stands beside them.

    A setting that the walks do not name yet is as in MIDDLE; a walk whose settings are no longer admitted is left out.
    """
    cases = tuple(case for walk in read_walks(WALKS, MIDDLE) if (case := _case(walk)))
    full = max(cases, key=lambda case: sum(word != 0 for word in (*case.ticks[-1].state[1:8], case.ticks[-1].state[9])))
    cases = (full, *(case for case in cases if case is not full))  # the first has most to save
    chosen = *cases[:: max(1, len(cases) // STORIES)], *remembering(cases)
    stories = [(case.settings, [tick.inputs for tick in case.ticks]) for case in chosen]
    return Vectors(logic_digest(), cases, tuple(_checks()), tuple(_differences()), tuple(exchanges(stories)))


def remembering(cases: Sequence[Case]) -> tuple[Case, ...]:
    """Return the shortest cases that leave a record much to hold: a declared fault, and words beyond 24 bits."""
    places = (state.FLAGS, state.FAULT_DECLARED), (state.MEMORY_LEFT, ~0 << 24), (state.CAUSE, ~0 << 24)
    found = ([case for case in cases if case.ticks[-1].state[place] & bits] for place, bits in places)
    return tuple(min(some, key=lambda case: len(case.ticks)) for some in found if some)


def _case(walk: Walk) -> Case | None:
    """Return a walk with what the reference makes of it; nothing where its settings are not admitted."""
    values = [*walk.settings, *[0] * (ranges.SETTINGS_SIZE - ranges.SETTING_COUNT)]
    if settings.first_fault(values) != settings.ALL_RIGHT:
        return None
    settings.derive(values)
    memory, results = [0] * state.STATE_SIZE, [0] * outputs.OUTPUTS_SIZE
    state.power_up(memory, values)
    start, ticks = tuple(memory), []
    for inputs in walk.inputs:
        step(memory, values, list(inputs), results)
        ticks.append(Tick(inputs, tuple(memory), tuple(results)))
    return Case(walk.purpose, tuple(values), start, tuple(ticks))


def write_vectors(folder: Path | str) -> Vectors:
    """Write the vectors of the logic installed here into a folder, vectors.txt and vectors.bin; return them.

    Raises Refusal for a folder that cannot be written.
    """
    folder = Path(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise refusal(folder, "", f"cannot be made ({error.strerror})", "a folder, or a name for one") from None
    made = build()
    write_text(folder / "vectors.txt", made.text())
    write_whole(folder / "vectors.bin", lambda stream: stream.write(made.binary()))
    return made


def covered(vectors: Vectors) -> set[Item]:
    """Replay a set and return all it goes through. Raises ValueError where it is not what the logic does."""
    watcher = Watcher()
    for case in vectors.cases:
        watcher.found |= settings_items(list(case.settings))
        memory, results = list(case.start), [0] * outputs.OUTPUTS_SIZE
        for number, tick in enumerate(case.ticks):
            watcher.step(memory, list(case.settings), list(tick.inputs), results)
            if (*memory, *results) != (*tick.state, *tick.outputs):
                raise ValueError(f"case {case.purpose}, tick {number}: not what the logic does")
    return watcher.found


# Settings in the middle of their ranges, from which one value at a time is moved to an end.
MIDDLE = {
    "cut_out": 62000,
    "cut_in": 83000,
    "floor": 30000,
    "trip_delay": 12000,
    "floor_weight": 4096,
    "vacuum_weight": 3072,
    "recovery": 1024,
    "stopped_recovery": 512,
    "vacuum": 84000,
    "reload": 120000,
    "reload_fraction": 1024,
    "start_grace": 3000,
    "restart_delay": 5000,
    "trips_to_lockout": 3,
    "trip_memory": 60000,
    "oil_least": 0,
    "oil_most": 2000000,
    "suction_least": 0,
    "suction_most": 1500000,
    "max_gap": 3000,
    "stuck_after": 30000,
    "fault_delay": 5000,
    "rest_settle": 2000,
    "rest_most": 20000,
    "reset_hold": 1000,
    "resets_most": 2,
}


def middle_settings() -> list[int]:
    """Return settings[29] in the middle of everything, derived places included."""
    values = [MIDDLE[row[0]] for row in ranges.SETTINGS] + [0] * (ranges.SETTINGS_SIZE - ranges.SETTING_COUNT)
    settings.derive(values)
    return values


def moved_settings(place: int, value: int) -> list[int]:
    """Return the middle settings with one value moved, and others only as far as the relations want."""
    values = middle_settings()
    for other, (least, most) in enumerate(reachable_ends(place, value)):
        values[other] = max(least, min(most, values[other]))
    return values


def _checks() -> Iterator[Check]:
    """Yield settings at and beyond each end of each range and relation, with two faults, and drawn ones."""
    for place, (_, _, least, most) in enumerate(ranges.SETTINGS):
        for value in (least - 1, least, least + 1, most - 1, most, most + 1):
            values = middle_settings()
            values[place] = value
            yield _check(values)
            yield _check(moved_settings(place, value))
    for lower, higher, gap in settings.RELATIONS:
        for beyond in (-1, 0, 1):
            values = middle_settings()
            values[lower] = values[higher] - gap + beyond
            yield _check(values)
    yield from _far_beyond()
    yield from _two_faults()
    rng = [SEED]
    for _ in range(DRAWN_CHECKS):
        values = [0] * ranges.SETTINGS_SIZE
        adversary.draw_settings(rng, values)
        yield _check(values)


def _far_beyond() -> Iterator[Check]:
    """Yield values that are sound ones in fewer bits, without their sign or as another type."""
    for place, (name, *_) in enumerate(ranges.SETTINGS):
        middle = MIDDLE[name]
        for value in (-middle, middle + (1 << 8), middle + (1 << 16), middle + (1 << 24), middle - (1 << 31), LARGEST):
            values = middle_settings()
            values[place] = value
            yield _check(values)


def _two_faults() -> Iterator[Check]:
    """Yield settings with two faults, of which the first has to be named."""
    ends = [(least, most) for *_, least, most in ranges.SETTINGS]
    for place in range(ranges.SETTING_COUNT - 1):
        (least, most), (next_least, next_most) = ends[place], ends[place + 1]
        for first, second in ((most + 1, next_least - 1), (least - 1, next_most + 1)):
            values = middle_settings()
            values[place], values[place + 1] = first, second
            yield _check(values)
    for number, relation in enumerate(settings.RELATIONS):
        values = middle_settings()
        _break(values, relation)
        values[ranges.RESETS_MOST] = ends[ranges.RESETS_MOST][1] + 1
        yield _check(values)
        values = middle_settings()
        for broken in reversed(settings.RELATIONS[number : number + 2]):
            _break(values, broken)
        yield _check(values)


def _break(values: list[int], relation: tuple[int, int, int]) -> None:
    """Break a relation by its lower value, or by its higher one where the lower would leave its range."""
    lower, higher, gap = relation
    if values[higher] - gap < ranges.SETTINGS[lower][3]:
        values[lower] = values[higher] - gap + 1
    else:
        values[higher] = values[lower] + gap - 1


def _check(values: list[int]) -> Check:
    fault, derived = settings.first_fault(values), [0] * (ranges.SETTINGS_SIZE - ranges.SETTING_COUNT)
    if fault == settings.ALL_RIGHT:
        settings.derive(values)
        derived = values[ranges.SETTING_COUNT :]
    return Check(tuple(values[: ranges.SETTING_COUNT]), fault, tuple(derived))


def _differences() -> Iterator[Difference]:
    """Yield tick differences around the wraps of 30-bit and 32-bit millisecond counters."""
    most = ranges.INPUTS[ranges.ELAPSED][3]
    for bits in (30, 32):
        size = 1 << bits
        for before in (0, 1, size // 2 - 1, size // 2, size - 1000, size - 1):
            for elapsed in (
                0,
                1,
                999,
                1000,
                1001,
                *(size // 2 + by for by in (-1, 0, 1)),
                most,
                most + 1,
                most + 2,
                size - 1,
            ):
                if elapsed < size:
                    yield Difference(bits, (before + elapsed) % size, before, min(elapsed, most))


def read_vectors(path: Path) -> Vectors:
    """Read the text form. Raises Refusal, naming the line, for anything but a whole and unchanged set."""
    check_file(path)
    try:
        text = path.read_text(encoding="ascii")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "not ASCII text"
        raise refusal(path, "", f"these vectors cannot be read ({why})") from None
    lines = text.splitlines()
    if lines[:1] != [TITLE]:
        raise refusal(path, "line 1", "not a vector file", TITLE, "".join(lines[:1]))
    vectors = _parsed(path, lines)
    if text != vectors.text():
        accepted = "a file as `lubetrip vectors` wrote it, whole and unchanged"
        raise refusal(path, f"line {len(lines)}", "the digest does not fit the content", accepted)
    return vectors


def _parsed(path: Path, lines: list[str]) -> Vectors:
    """Build a set from the lines of its text form; whether it is whole is for the digest to say."""
    cases: list[dict[str, Any]] = []
    checks, differences = [], []
    asked: list[str] = []
    answers: list[str] = []
    for number, content in enumerate(lines[2:-1], start=3):
        word, _, rest = content.partition(" ")
        if word == "case":
            cases.append({"purpose": rest, "settings": (), "state": (), "ticks": []})
            continue
        if word in ("ask", "answer"):
            (asked if word == "ask" else answers).append(rest)
            continue
        numbers = _numbers(path, number, word, rest)
        if word == "check":
            split = ranges.SETTING_COUNT
            checks.append(Check(numbers[:split], numbers[split], numbers[split + 1 :]))
        elif word == "ticks":
            differences.append(Difference(*numbers))
        elif not cases:
            raise refusal(path, f"line {number}", f"'{word}' before the first case", "case")
        elif word == "step":
            first, second = ranges.INPUTS_SIZE, ranges.INPUTS_SIZE + state.STATE_SIZE
            cases[-1]["ticks"].append(Tick(numbers[:first], numbers[first:second], numbers[second:]))
        else:
            cases[-1][word] = numbers
    whole = tuple(Case(case["purpose"], case["settings"], case["state"], tuple(case["ticks"])) for case in cases)
    return Vectors(
        "".join(lines[1:2]).removeprefix("logic "),
        whole,
        tuple(checks),
        tuple(differences),
        tuple(map(Exchange, asked, answers)),
    )


SIZES = {
    "settings": ranges.SETTINGS_SIZE,
    "state": state.STATE_SIZE,
    "step": TICK_SIZE,
    "check": ranges.SETTINGS_SIZE + 1,
    "ticks": 4,
}


def _numbers(path: Path, number: int, word: str, rest: str) -> Words:
    if word not in SIZES:
        raise refusal(path, f"line {number}", f"unknown word '{word[:20]}'", f"case, {', '.join(SIZES)}")
    try:
        numbers = tuple(map(int, rest.split()))
    except ValueError:
        raise refusal(path, f"line {number}", "not whole numbers", f"{SIZES[word]} integers", rest[:60]) from None
    if len(numbers) != SIZES[word]:
        raise refusal(path, f"line {number}", f"{len(numbers)} numbers", f"{SIZES[word]} after '{word}'")
    return numbers
