"""Drive a port through the vectors by the line protocol of firmware_ref/README.md.

The port is behind one of the ways of `links`, or a file of answers that a target without a line to the host made of the
questions (`conform_questions`). The first difference ends the run, or with `keep_going` the case that it stands in.
"""

import contextlib
import datetime as dt
import hashlib
import importlib.metadata
import re
import shlex
import shutil
import textwrap
import time
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from firmware_ref.digest import settings_places
from protect import conditions, outputs, ranges, saved, signals, state
from replay.engine import logic_digest
from replay.ground.places import check_file
from replay.ground.refusal import LONGEST_PART, Refusal, refusal, shown, visible
from replay.port.links import Link, command_link, serial_link
from replay.port.vectors import Vectors, build, line, read_vectors

SCHEMA = "lubetrip-conform/2"
_INTEGER = re.compile(r"-?\d{1,10}", re.ASCII)
# A board may talk while it boots: so many lines before its answer to hello are passed over.
BOOT_LINES = 100
TICK_BITS = ("0", "30", "32")
# Words that a port may leave out, each with the questions by which it is asked whether it has them.
OFFERS = {"record": ("next 0", ("save", "recall", "next")), "seal": ("seal", ("seal", "flip", "sealed"))}
ABOUT = ("logic", "settings", "build")  # what a target is asked of itself; `none` where it does not know
NOT_OFFERED = {
    "check": "The port offers no settings check: it must only run settings exported and checked by the host.",
    "record": "The port offers no saved records: what it keeps over a loss of power is not compared.",
    "seal": "The port offers no sealed step: what it does about a bit that flipped in RAM is not compared.",
}
MOST_SHOWN = 20  # differences that are told in full


@dataclass(frozen=True)
class Mismatch:
    """A difference: where, what was asked in which state, and the answers by name where they differ."""

    where: str
    asked: str
    inputs: dict[str, int]
    expected: str
    got: str
    form: str  # why the answer is none of the wanted form; empty where it is and its numbers differ
    differing: dict[str, tuple[int, int | None]]
    before: dict[str, int] = field(default_factory=dict)  # the state before the step
    settings: dict[str, int] = field(default_factory=dict)
    look_at: str = ""  # the earliest part of the step whose words differ


@dataclass(frozen=True)
class Outcome:
    """What a port did with a set of vectors; counts of what was compared and found equal."""

    port: str
    equal: Counter[str]  # of each kind: step, check, tick, power-up, record, seal
    offers: frozenset[str]  # of "check", "record" and "seal" those that the port has
    about: dict[str, str]  # digest of its logic and settings, and its compiler, as it says them
    mismatches: tuple[Mismatch, ...]
    elapsed_s: float

    @property
    def mismatch(self) -> Mismatch | None:
        """Return the first difference."""
        return self.mismatches[0] if self.mismatches else None


def place_names(module: Any, first: str, size: str) -> list[str]:
    """Return a name for each place of an array whose places a module of `protect` names in order."""
    names = list(vars(module))
    named = {getattr(module, name): name.lower() for name in names[names.index(first) : names.index(size)]}
    return [named.get(place, f"{named.get(place - 1)}_for") for place in range(getattr(module, size))]


STEP_NAMES = (*place_names(state, "STATE", "STATE_SIZE"), *place_names(outputs, "RUN_PERMISSION", "OUTPUTS_SIZE"))
INPUT_NAMES = [row[0] for row in ranges.INPUTS]
DERIVED = tuple(name for name, _ in settings_places()[ranges.SETTING_COUNT :])
CHECK_NAMES = ("first_fault", *DERIVED)
SETTING_NAMES = (*(row[0] for row in ranges.SETTINGS), *DERIVED)
SEAL_NAMES = ("state_plain", "state_weighted", "settings_plain", "settings_weighted")
# The 32-bit words of a saved record, and of its complement behind them.
RECORD_NAMES = (
    "number_and_form", "settings_crc", *(STEP_NAMES[place] for place in saved.KEPT), "stop", "kept_flags", "crc"
)  # fmt: skip
CHANNEL_NAMES = STEP_NAMES[state.OIL_SEEN : state.STATE_SIZE]
ANSWER_NAMES: dict[str, Sequence[str]] = {
    "recalled": ("number", *STEP_NAMES[: state.STATE_SIZE]),
    "passed": (*STEP_NAMES, *SEAL_NAMES),
    "seals": SEAL_NAMES,
    "holds": ("holds",),
    "next": ("number",),
}
FLAG_BITS = {
    name.lower(): getattr(state, name)
    for name in ("FRESH", "RESET_HELD", "IN_SPELL", "VACUUM_SEEN", "FAULT_DECLARED", "RESET_PRESSED")
}
CONDITION_BITS = {name: 1 << number for number, name in enumerate(conditions.NAMES)}
DOUBT_BITS = {name: signals.OIL_MISSING << number for number, name in enumerate(signals.DOUBT_NAMES)}
# The parts of a step in their order, with the words that each is the first to set.
PARTS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("1. signals (protect/signals.py)", ("net_oil_pressure", "credible", "seen", "doubted", *CHANNEL_NAMES)),
    ("2. integral (protect/integral.py)", ("integral", "integral_fraction", "grace_left")),
    ("3. timers (protect/timers.py)", ("restart_left", "memory_left", "fault_time")),
    ("4. conditions (protect/conditions.py)", ("conditions", "flags")),
    ("5. table (protect/table.py)", ("state", "trips", "cause")),
    ("6. outputs (protect/outputs.py)", ("run_permission", "alarm", "stop_cause", "integral_percent")),
    ("the seal (protect/seal.py)", SEAL_NAMES),
)  # fmt: skip


@dataclass(frozen=True)
class _Question:
    """A line to a port and the answer that is wanted, with the names of its numbers."""

    kind: str  # what is compared, as it is counted
    where: str
    asked: str
    expected: str
    group: str = ""  # questions that follow from each other: after a difference the rest says nothing
    names: Sequence[str] = STEP_NAMES
    inputs: dict[str, int] = field(default_factory=dict)
    before: Sequence[int] = ()  # the state
    settings: Sequence[int] = ()


def _questions(vectors: Vectors, widths: Sequence[int], offers: Collection[str]) -> Iterator[_Question]:
    """Yield all that a port with ticks of these widths is asked; what it need not have, where it offers it."""
    for number, check in enumerate(vectors.checks if "check" in offers else (), start=1):
        expected = line("checked", (check.fault, *check.derived))
        yield _Question("check", f"settings check {number}", line("check", check.values), expected, names=CHECK_NAMES)
    for difference in vectors.differences:
        if difference.bits in widths:
            asked = line("ticks", (difference.now, difference.before))
            yield _Question("tick", "tick difference", asked, line("elapsed", (difference.elapsed,)), names=["elapsed"])
    for number, case in enumerate(vectors.cases, start=1):
        where, group = f"case {number} ({case.purpose})", f"case {number}"
        power_up = line("set", case.settings)
        yield _Question("power-up", f"{where}, power-up", power_up, line("state", case.start), group)
        before = case.start
        for count, tick in enumerate(case.ticks, start=1):
            expected = line("done", (*tick.state, *tick.outputs))
            inputs = dict(zip(INPUT_NAMES, tick.inputs, strict=True))
            asked = line("step", tick.inputs)
            yield _Question(
                "step",
                f"{where}, tick {count}",
                asked,
                expected,
                group,
                inputs=inputs,
                before=before,
                settings=case.settings,
            )
            before = tick.state
    yield from _record_questions(vectors, offers)


def _record_questions(vectors: Vectors, offers: Collection[str]) -> Iterator[_Question]:
    """Yield the questions on saved records and seals; the settings, steps and words between them lead there."""
    group, kinds = "", {word: kind for kind, (_, words) in OFFERS.items() for word in words}
    if not OFFERS.keys() & set(offers):
        return
    for number, exchange in enumerate(vectors.exchanges, start=1):
        word = exchange.asked.partition(" ")[0]
        kind = kinds.get(word, "")
        if kind and kind not in offers:
            continue
        if word in ("set", "next") or (kind == "record" and word == "recall"):
            group = f"question {number}"  # from here on nothing hangs on what was before
        names = ANSWER_NAMES.get(exchange.answer.partition(" ")[0], STEP_NAMES)
        yield _Question(kind or "leading", f"question {number} on records and seals", *exchange, group, names)


def _ask(link: Link, where: str, text: str) -> str:
    """Ask and return the answer. Raises Refusal that tells where the port was asked what."""
    try:
        link.send(text)
        return link.receive()
    except Refusal as error:
        raise Refusal(f"{error}; asked at {where}: {text}") from None


def _hello(link: Link) -> tuple[int, str]:
    """Return (bits of the port's tick, what it says it is)."""
    answer = _ask(link, "the beginning", "hello")
    for _ in range(BOOT_LINES):
        word, _, rest = answer.partition(" ")
        bits, _, name = rest.partition(" ")
        if word == "port" and bits in TICK_BITS:
            return int(bits), visible(name.strip())[:LONGEST_PART]
        if word == "port" and _INTEGER.fullmatch(bits):
            raise refusal(link.name, "", "no width of a tick counter", ", ".join(TICK_BITS), answer)
        try:
            answer = link.receive()
        except Refusal as error:
            raise Refusal(f"{error}; asked: hello; heard {shown(answer)}, wanted port TICK_BITS NAME") from None
    raise refusal(link.name, "", "no answer to hello", "port TICK_BITS NAME", answer)


def _form_fault(expected: str, got: str) -> str:
    """Say why an answer is none of the wanted form; empty for one that is."""
    wanted, *places = expected.split()
    word, *numbers = got.split() or [""]
    if word != wanted:
        return f"expected `{wanted}` and {len(places)} numbers, and no other line between"
    if len(numbers) != len(places):
        return f"{len(numbers)} numbers after `{wanted}`, {len(places)} expected"
    if not all(map(_INTEGER.fullmatch, places)):
        return "the digits a to f of a record are lower case" if got.lower().split() == expected.split() else ""
    foreign = next((number for number in numbers if not _INTEGER.fullmatch(number)), None)
    return "" if foreign is None else f"{shown(foreign)} is no whole number in plain digits"


def _by_name(names: Sequence[str], expected: str, got: str) -> dict[str, tuple[int, int | None]]:
    """Return {name: (expected, got)} of the numbers that differ; got is None where none came."""
    if expected.startswith("saved "):
        return _by_word_of_record(expected, got)
    wanted = [int(number) for number in expected.split()[1:]]
    word, *numbers = got.split() or [""]
    answered: list[int | None] = [int(n) if _INTEGER.fullmatch(n) else None for n in numbers]
    if not expected.startswith(f"{word} "):
        answered = []
    answered += [None] * (len(wanted) - len(answered))
    pairs = zip(names, wanted, answered, strict=False)
    return {name: (want, have) for name, want, have in pairs if want != have}


def _by_word_of_record(expected: str, got: str) -> dict[str, tuple[int, int | None]]:
    """Return {name: (expected, got)} of the words of a saved record that differ; of the complement where none does."""
    try:
        records = [bytes.fromhex(answer.split()[-1]) for answer in (expected, got)]
    except (ValueError, IndexError):
        return {}
    if len(records[1]) != saved.RECORD_SIZE:
        return {}
    wanted, answered = ([int.from_bytes(r[at : at + 4], "little") for at in range(0, len(r), 4)] for r in records)
    names = (*RECORD_NAMES, *(f"{name}_complement" for name in RECORD_NAMES))
    pairs = zip(names, wanted, answered, strict=True)
    told: dict[str, tuple[int, int | None]] = {name: (want, have) for name, want, have in pairs if want != have}
    return {name: words for name, words in told.items() if name in RECORD_NAMES} or told


def _offers(link: Link, vectors: Vectors) -> frozenset[str]:
    """Ask a port which words it has."""
    asked = {name: question for name, (question, _) in OFFERS.items() if vectors.exchanges}
    if vectors.checks:
        asked["check"] = line("check", vectors.checks[0].values)
    given = {name: _ask(link, f"whether the port has the {name}", question) for name, question in asked.items()}
    return frozenset(name for name, answer in given.items() if answer.split()[:1] not in (["none"], ["error"]))


def _about(link: Link) -> dict[str, str]:
    """Ask a port what it is made of; what it does not know is left out."""
    told = {}
    for word in ABOUT:
        said, _, rest = _ask(link, "what the port is made of", word).partition(" ")
        if said == word and rest:
            told[word] = visible(rest.strip())[:LONGEST_PART]
    return told


def conform(vectors: Vectors, link: Link, *, keep_going: bool = False) -> Outcome:
    """Drive a port through all vectors; with keep_going past the first difference, from the next case on.

    Raises Refusal when the port does not answer at all. A port that states a tick
    of 0 bits has no tick differences to answer.
    """
    began = time.monotonic()
    bits, name = _hello(link)
    about, offers = _about(link), _offers(link, vectors)
    equal: Counter[str] = Counter()
    mismatches: list[Mismatch] = []
    before, failed = "", ""
    for question in _questions(vectors, [bits], offers):
        if failed and question.group == failed:
            continue
        got = _ask(link, question.where, question.asked)
        if got.split() == question.expected.split():
            equal[question.kind] += 1
        else:
            mismatches.append(_mismatch(question, got, before))
            failed = question.group
            if not keep_going:
                break
        before = question.expected
    link.send("bye")
    return Outcome(name, equal, offers, about, tuple(mismatches), time.monotonic() - began)


def _mismatch(question: _Question, got: str, before: str) -> Mismatch:
    """Say how an answer differs; `before` is what was wanted in answer to the line before."""
    form = _form_fault(question.expected, got)
    if not form and got.split() == before.split():
        form = "this is what was wanted in answer to the line before: one line for each line"
    differing = _by_name(question.names, question.expected, got)
    return Mismatch(
        question.where, question.asked, question.inputs, question.expected, got, form, differing,
        before=dict(zip(STEP_NAMES, question.before, strict=False)),
        settings=dict(zip(SETTING_NAMES, question.settings, strict=False)),
        look_at=_look_at(question, differing),
    )  # fmt: skip


def _look_at(question: _Question, differing: Mapping[str, tuple[int, int | None]]) -> str:
    """Name the part of the logic to look at: the earliest whose words differ."""
    if question.kind in ("check", "power-up", "tick", "record"):
        places = {"check": "settings", "power-up": "state", "record": "saved"}
        return f"protect/{places[question.kind]}.py" if question.kind in places else "the platform's clock"
    telling = set(differing)
    want, got = differing.get("conditions", (0, 0))
    if got is not None and (want ^ got) & signals.DOUBTS:
        telling.add("credible")  # the doubts stand in the word of the conditions, and come from the signals
    # Set by a later part too: the restart delay by a press of the reset, the trip memory by an effect of the table.
    telling -= {"restart_left"} if "flags" in telling else set()
    telling -= {"memory_left"} if "state" in telling else set()
    return next((part for part, words in PARTS if set(words) & telling), "")


def _lines(vectors: Vectors) -> list[str]:
    """Return all lines that a port is asked."""
    asked = ["hello", *ABOUT, *(question for question, _ in OFFERS.values())]
    both = _questions(vectors, (30, 32), {"check", *OFFERS})
    return [*asked, *(question.asked for question in both), "bye"]


def conform_questions(vectors: Vectors | Path | str | None = None) -> str:
    """Return all lines that a port is asked, for a target without a line to the host: it answers each with one line.

    vectors: as for `conform_port`, which compares the answers. Raises Refusal.
    """
    used = read_vectors(Path(vectors)) if isinstance(vectors, Path | str) else vectors
    return "\n".join(_lines(used or build())) + "\n"


class _Answers:
    """Answers that a target made of the questions, beside these."""

    def __init__(self, name: str, asked: Sequence[str], answers: Sequence[str]) -> None:
        self.name, self.asked, self.answers = name, asked, answers
        self.at = self.next = 0

    def send(self, text: str) -> None:
        """Go on to the answer to a line: the next of its text, since a port need not have all words."""
        if text == "bye":
            return
        # What is asked twice, as the first settings check is, has one answer.
        at = next((n for n in (*range(self.next, len(self.asked)), *range(self.next)) if self.asked[n] == text), None)
        if at is None:
            raise refusal(self.name, "", f"no answer to {shown(text)}", "answers to the questions of these vectors")
        self.at, self.next = at, max(at + 1, self.next) if at >= self.next else self.next

    def receive(self) -> str:
        """Return the answer."""
        return self.answers[self.at].strip()


@contextlib.contextmanager
def answers_link(path: Path, vectors: Vectors) -> Iterator[Link]:
    """Read a file of answers to the questions on these vectors. Raises Refusal for one of another length."""
    asked = _lines(vectors)
    check_file(path)
    try:
        said = path.read_text(encoding="ascii", errors="replace").splitlines()
    except OSError as error:
        raise refusal(path, "", f"cannot be read ({error.strerror})", "the answers of a port, one a line") from None
    first = next((n for n, text in enumerate(said) if text.startswith("port ")), 0)
    said = said[first:]
    if len(said) not in (len(asked), len(asked) - 1):  # with the answer to bye, or without
        rule = f"{len(said)} answers from the one to hello on, to {len(asked)} questions"
        raise refusal(path, f"line {len(said) + first}", rule, "one line for each question, of these very vectors")
    yield _Answers(str(path), asked, said)


@dataclass(frozen=True)
class Conformance:
    """What a port did with the vectors, and when; identical where nothing differs."""

    link: str
    vectors: Vectors
    outcome: Outcome
    date: dt.datetime
    binary: Path | None = None  # the program that was driven, or is on the target

    @property
    def identical(self) -> bool:
        """True when every word that was compared is the same."""
        return not self.outcome.mismatches

    @property
    def other_logic(self) -> bool:
        """True when the target says that it was made from another logic than the vectors."""
        said = self.outcome.about.get("logic")
        return said is not None and said != self.vectors.logic

    def told(self) -> list[str]:
        """Return as text what was compared, what the port does not offer, and every difference."""
        outcome, equal = self.outcome, self.outcome.equal
        lines = [
            f"compared: {equal['step']} steps, {equal['check']} settings checks, {equal['tick']} tick differences,"
        ]
        lines.append(f"  {equal['record']} questions on saved records, {equal['seal']} on seals")
        lines += [f"the port says of itself: {word} {value}" for word, value in outcome.about.items()]
        if self.other_logic:
            lines.append("It was made from another logic than the vectors.")
        lines += [text for name, text in NOT_OFFERED.items() if name not in outcome.offers]
        if equal["tick"] == 0 and self.identical:
            lines.append("The port offers no tick difference: its clock is not compared, the wrap least of all.")
        lines += map(words_of, outcome.mismatches[:MOST_SHOWN])
        if len(outcome.mismatches) > MOST_SHOWN:
            lines.append(f"and {len(outcome.mismatches) - MOST_SHOWN} cases more with a difference")
        return [*lines, "Identical in every word."] if self.identical else lines

    def as_json(self) -> dict[str, Any]:
        """Return the record of a run: when, by which tool, which port, which vectors, how much, and what came of it."""
        vectors, outcome = self.vectors, self.outcome
        port: dict[str, Any] = {"link": self.link, "name": outcome.port}
        port |= {"says": {word: outcome.about.get(word) for word in ABOUT}}
        port["binary"] = None if self.binary is None else hashlib.sha256(self.binary.read_bytes()).hexdigest()
        return {
            "schema": SCHEMA,
            "date": self.date.isoformat(timespec="seconds"),
            "elapsed_s": round(outcome.elapsed_s, 1),
            "tool": importlib.metadata.version("lubetrip"),
            "port": port,
            "vectors": {
                "digest": vectors.digest,
                "logic": vectors.logic,
                "cases": len(vectors.cases),
                "steps": vectors.steps,
                "checks": len(vectors.checks),
                "exchanges": len(vectors.exchanges),
            },
            "logic_here": logic_digest(),
            "compared": {f"{kind}s": outcome.equal[kind] for kind in ("step", "check", "tick", "record", "seal")},
            "settings_check": self._offered("check"),
            "saved_record": self._offered("record"),
            "sealed_step": self._offered("seal"),
            "result": "identical" if self.identical else "different",
            "differences": [{**vars(mismatch)} for mismatch in outcome.mismatches[:MOST_SHOWN]],
            "difference_count": len(outcome.mismatches),
        }

    def _offered(self, name: str) -> str:
        return "compared" if name in self.outcome.offers else "not offered by the port"


def conform_port(
    command: str | None = None,
    device: str | None = None,
    vectors: Vectors | Path | str | None = None,
    *,
    answers: Path | str | None = None,
    binary: Path | str | None = None,
    keep_going: bool = False,
) -> Conformance:
    """Drive a port through the vectors and compare every word of state, outputs, records and seals.

    command: a program that speaks the line protocol; device: a board on a serial line that does; answers: a file of
    what a target answered to `conform_questions`; one of the three. vectors: a file of them
    in plain form; without it, those of the logic installed here. binary: the program on the target, whose SHA-256 the
    record holds; without it that of the command.
    keep_going: past the first difference, from the next case on.
    The result is a `Conformance`: `identical`, `outcome`, `as_json()`. Raises Refusal.
    """
    if sum(way is not None for way in (command, device, answers)) != 1:
        raise refusal(
            "conform", "", "exactly one port is needed", "--port 'COMMAND', --serial DEVICE or --answers FILE"
        )
    date = dt.datetime.now(dt.UTC)
    used = read_vectors(Path(vectors)) if isinstance(vectors, Path | str) else vectors
    if answers is not None:
        used = used or build()
        way = answers_link(Path(answers), used)
    else:
        way = command_link(command) if command is not None else serial_link(str(device))
    program = _program(command, binary)
    with way as link:
        used = used or build()
        return Conformance(link.name, used, conform(used, link, keep_going=keep_going), date, program)


def _program(command: str | None, binary: Path | str | None) -> Path | None:
    """Return the file whose hash is recorded: as given, or what a command runs."""
    if binary is not None:
        if not Path(binary).is_file():
            raise refusal(Path(binary), "", "is no file", "the program that is on the target")
        return Path(binary)
    with contextlib.suppress(ValueError, IndexError):
        found = shutil.which(shlex.split(command or "")[0])
        return None if found is None else Path(found)
    return None


def bit_names(name: str, value: int) -> str:
    """Return the names of the bits that are on in a word of state or outputs, in brackets; empty for a plain number."""
    bits: dict[str, int] = {}
    told: list[str] = []
    if name == "flags":
        bits = FLAG_BITS
        resets = (value & state.RESETS) >> state.RESETS_SHIFT
        told = [f"{resets} resets"] if resets else []
    elif name == "conditions":
        bits = {**CONDITION_BITS, **DOUBT_BITS}
    elif name in ("cause", "stop_cause"):
        bits = DOUBT_BITS
    told = [label for label, bit in bits.items() if value & bit] + told
    return f" ({', '.join(told)})" if told else ""


def words_of(mismatch: Mismatch) -> str:
    """Return a difference as text: where, settings, state before, inputs, expected and got, with names."""
    lines = [f"different at {mismatch.where}", f"  asked     {mismatch.asked}"]
    for head, words in (("settings", mismatch.settings), ("before", mismatch.before), ("inputs", mismatch.inputs)):
        if words:
            named = (f"{name} {value}{bit_names(name, value)}" for name, value in words.items())
            lines += textwrap.wrap(", ".join(named), 110, initial_indent=f"  {head:<9} ", subsequent_indent=" " * 12)
    got = visible(mismatch.got)[:LONGEST_PART]
    lines += [f"  expected  {mismatch.expected}", f"  got       {got or '(an empty line)'}"]
    if mismatch.form:
        return "\n".join([*lines, f"  {visible(mismatch.form)}"])
    for name, (want, have) in mismatch.differing.items():
        had = "nothing" if have is None else f"{have}{bit_names(name, have)}"
        lines.append(f"  {name}: expected {want}{bit_names(name, want)}, got {had}")
    if mismatch.look_at:
        lines.append(f"  look at {mismatch.look_at}")
    return "\n".join(lines)
