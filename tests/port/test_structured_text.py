"""The logic as IEC 61131-3 Structured Text: read by two grammars, and run through all that the other ports are run through."""

import functools
import re
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import tree_sitter
import tree_sitter_iec61131_3_st

from firmware_ref import st_functions
from firmware_ref.digest import layout
from firmware_ref.generate import STRUCTURED_TEXT
from firmware_ref.st_text import functions, structured_text
from protect import outputs, ranges, saved, seal, settings, state
from replay.port.export import export_settings
from replay.settings import Settings, read_settings
from tests.gates import holding
from tests.support.structured_text import Program, parsed
from tests.support.toolchain import vector_set

TEXT = STRUCTURED_TEXT.read_text()
LONG_LIST = re.compile(r"(:= \[\s*[-\d, ]+), \(\*[^\]]*\]")


def site(checked: Settings) -> str:
    """Return the exported settings."""
    return export_settings(checked, "st")


@pytest.fixture
def checked(settings_file: Path) -> Settings:
    """Return the settings of the shared file."""
    return read_settings(settings_file)


@functools.cache
def program() -> Program:
    """Return the checked-in text, without the block, which needs the settings of a site."""
    return Program(TEXT[: TEXT.index("(* One machine under protection")])


def test_the_text_is_that_of_the_logic_as_it_is() -> None:
    """Catches a reference that was changed without the text, and a place where the text does not say what it is."""
    assert structured_text() == TEXT
    for said in ("SPDX-License-Identifier: MIT", "never run on a", "Not a certified safety device"):
        assert said in TEXT


@pytest.mark.outside(
    computation="The text is of the language",
    source="tree-sitter-iec61131-3-st, a grammar of IEC 61131-3",
    status="consulted",
    agreement="no error in its tree",
)
def test_a_grammar_of_the_language_reads_the_text_and_the_settings(checked: Settings) -> None:
    """Catches text that is no Structured Text, such as a bracket left open."""
    parsed(TEXT + site(checked))
    with pytest.raises(SyntaxError, match="not of the grammar"):
        parsed(TEXT.replace("END_IF;", "ENDIF;", 1))


def forms(text: str) -> set[tuple[str, str]]:
    """Return the forms that occur in a text: each part of it with what it stands in."""
    found, waiting = set(), [(parsed(text), "")]
    while waiting:
        node, parent = waiting.pop()
        kind = node.type if node.is_named else (node.text or b"").decode()
        found.add((parent, kind))
        waiting += [(child, kind) for child in node.children]
    return found


@pytest.mark.slow("the second grammar takes a second for twenty lines")
@pytest.mark.outside(
    computation="The text is of the language",
    source="blark, a second grammar of IEC 61131-3",
    status="consulted",
    agreement="it parses",
)
def test_another_grammar_of_the_language_reads_every_form_of_it(checked: Settings) -> None:
    """Catches a form that one tool's grammar happens to take; of functions that bring no new form, and of long lists, it sees no more."""
    from blark.parse import parse_source_code

    block = TEXT[TEXT.index("(* One machine under protection") :]
    short = [LONG_LIST.sub(r"\1]", text) for text in (*functions().values(), block, site(checked))]
    has = {text: forms(text) for text in short}
    missing = set.union(*has.values())
    while missing:  # those first that have most of what is missing for their length, by which it takes its time
        most = max(short, key=lambda text: len(missing & has[text]) / len(text))
        missing -= has[most]
        assert parse_source_code(most).exception is None
    text = min((text for text in short if "THEN" in text), key=len)
    assert parse_source_code(text.replace("THEN", "", 1)).exception is not None


def test_no_name_is_a_word_of_the_language(checked: Settings) -> None:
    """Catches a variable called as a keyword, which a stricter compiler refuses: `at`, `byte`, `left`."""
    language = tree_sitter.Language(tree_sitter_iec61131_3_st.language())
    words = {language.node_kind_for_id(number) for number in range(language.node_kind_count)}
    words = {word.lower() for word in words if word and re.fullmatch("[A-Z_]+", word)} | st_functions.RESERVED
    assert {"at", "byte", "by", "function", "var"} <= words
    names = {name for unit in Program(TEXT + site(checked)).units.values() for name in unit.variables}

    assert not names & words


def test_every_word_of_every_step_of_the_vectors_is_the_same() -> None:
    """Catches a translation that decides otherwise anywhere the vectors go."""
    steps = 0
    for case in vector_set().cases:
        memory, values, results = [0] * state.STATE_SIZE, list(case.settings), [0] * outputs.OUTPUTS_SIZE
        program()["LT_state_power_up"](memory, values)
        assert tuple(memory) == case.start
        for tick in case.ticks:
            program()["LT_protection_step"](memory, values, list(tick.inputs), results)
            assert (tuple(memory), tuple(results)) == (tick.state, tick.outputs), case.purpose
            steps += 1
    assert steps == vector_set().steps


def test_settings_are_checked_and_derived_the_same() -> None:
    """Catches a range, a relation or a derived place that came out otherwise."""
    for check in vector_set().checks:
        values = [*check.values, *[0] * len(check.derived)]
        assert program()["LT_settings_first_fault"](values) == check.fault
        if check.fault == settings.ALL_RIGHT:
            program()["LT_settings_derive"](values)
            assert tuple(values[ranges.SETTING_COUNT :]) == check.derived


def test_tick_differences_are_the_same() -> None:
    """Catches a difference that breaks at the wrap of the counter."""
    wanted = [d for d in vector_set().differences if d.bits == 32]
    assert len(wanted) > 10
    for d in wanted:
        assert program()["LT_elapsed_ms"](d.now, d.before) == d.elapsed


@pytest.mark.slow("tries many cases of a large space")
def test_saved_records_are_written_and_taken_the_same() -> None:
    """Catches another byte in a record, a damaged one that is taken, and the older of two."""
    for number, values, memory, wanted in holding.fills(vector_set()):
        record = [0] * saved.RECORD_SIZE
        program()["LT_saved_fill"](number, record, list(values), list(memory))
        assert record == wanted
    for values, first, second, answer, after in holding.recalls(vector_set()):
        memory = [0] * state.STATE_SIZE
        assert program()["LT_saved_recall"](memory, list(values), list(first), list(second)) == answer
        assert memory == after
    for number, following in holding.numbers():
        assert program()["LT_saved_next_number"](number) == following


def test_sealed_steps_are_the_same() -> None:
    """Catches a seal that misses a flipped bit, or finds one where there is none."""
    for row in holding.sealed_steps(vector_set()):
        memory, values, seals = before = [list(words) for words in row["before"]]
        assert program()["LT_seal_seals_hold"](memory, values, seals) == row["hold"]
        results = [7] * outputs.OUTPUTS_SIZE
        program()["LT_seal_sealed_step"](memory, values, list(row["inputs"]), results, seals)
        assert ([*before], results) == (list(row["after"]), row["results"])


# ---- the function block ----

RECORDS = [0] * saved.RECORD_SIZE, [0] * saved.RECORD_SIZE
STEP_MS = 250
GOOD, BAD, REST = 600_000, 310_000, 300_000  # oil pressure at a crankcase pressure of 300 kPa


class Wanted:
    """What a pass has to do, restated from the porting guide over `protect`."""

    def __init__(self, values: tuple[int, ...], records: tuple[list[int], list[int]]) -> None:
        self.values, self.memory, self.seals = list(values), [0] * state.STATE_SIZE, [0] * seal.SEALS_SIZE
        self.records, self.results, self.since = records, [0] * outputs.OUTPUTS_SIZE, 0
        seal.seal_settings(self.values, self.seals)
        self.number = saved.recall(self.memory, self.values, *records)
        seal.seal_state(self.memory, self.seals)
        self.kept = self.told()

    def told(self) -> tuple[int, int]:
        """Return what a record is written for when it changes: the kind of stop, if it is one, and the counted trips."""
        return max(self.memory[state.STATE], state.TRIPPED - 1), self.memory[state.TRIPS]

    def __call__(self, *inputs: int) -> list[int]:
        """Take a pass; return the outputs."""
        seal.sealed_step(self.memory, self.values, list(inputs), self.results, self.seals)
        self.since += self.results[outputs.SEEN] + self.results[outputs.DOUBTED]
        if self.told() != self.kept or self.since >= 60_000:
            self.number = saved.next_number(self.number)
            saved.fill(self.records[self.number % 2], self.number, self.values, self.memory)
            self.kept, self.since = self.told(), 0
        return list(self.results)


def told(block: Any) -> list[int]:
    """Return the outputs of the block in the order of their places."""
    names = list(vars(outputs))
    wanted = names[names.index("RUN_PERMISSION") : names.index("OUTPUTS_SIZE")]
    return [int(getattr(block, f"v_{name.lower()}")) for name in wanted]


def block_of(text: str) -> Callable[..., list[int]]:
    """Return a block that is called as `Wanted` is, on records of its own, which `records` gives."""
    block = Program(TEXT + text)["LUBETRIP"]()

    def call(records: tuple[list[int], list[int]], *inputs: int) -> list[int]:
        elapsed, running, reset, *pressures = inputs
        block(elapsed, bool(running), bool(reset), *pressures, *records)
        return told(block)

    return call


def story() -> list[tuple[int, ...]]:
    """Return the inputs of passes: standstill, a reset that is held, a start, oil that is lost until the machine stops, and rest."""
    passes = 40 * [(STEP_MS, 0, 0, REST, REST, REST)]
    passes += 4000 * [(STEP_MS, 0, 1, REST, REST, REST)]
    passes += [(STEP_MS, 1, 0, GOOD + 500 * (n % 2), REST + n % 2, REST + n % 2) for n in range(400)]
    passes += [(STEP_MS, 1, 0, BAD + 50 * (n % 2), REST + n % 2, REST + n % 2) for n in range(1200)]
    return passes + 200 * [(STEP_MS, 0, 0, REST, REST, REST)]


@pytest.mark.slow("tries many cases of a large space")
def test_the_block_does_in_every_pass_what_the_porting_guide_says(checked: Settings) -> None:
    """Catches a block that takes the bare step, saves too late or into the wrong record, or gives an output of another place."""
    ours, theirs = ([list(record) for record in RECORDS] for _ in range(2))
    wanted, block = Wanted(checked.values, tuple(theirs)), block_of(site(checked))
    seen = set()
    for number, inputs in enumerate(story()):
        assert block(tuple(ours), *inputs) == wanted(*inputs), number
        assert ours == theirs, number
        if wanted.memory[state.STATE] == state.TRIPPED and state.LUBRICATED not in {now for now, _ in seen}:
            assert wanted.number == 0  # the reset was saved: a power cycle gives no reset more
        seen.add((wanted.memory[state.STATE], wanted.results[outputs.RUN_PERMISSION]))
    assert {(state.LOCKED_OUT, 0), (state.LUBRICATED, 1), (state.STARVED, 1), (state.TRIPPED, 0)} <= seen
    again, at_once = Wanted(checked.values, tuple(theirs)), block_of(site(checked))
    assert at_once(tuple(ours), *story()[0]) == again(*story()[0])
    assert again.memory[state.STATE] == state.TRIPPED and again.number > 2


@pytest.mark.parametrize("what", ["layout", "logic", "value"])
def test_the_block_runs_no_machine_on_settings_of_something_else(what: str, checked: Settings) -> None:
    """Catches a block that runs on a stale table, or on one that somebody edited out of what is admitted."""
    text = site(checked)
    if what == "value":
        text = re.sub(r"settings\[3\] := \d+", "settings[3] := 1", text)
    else:
        digits = layout().upper() if what == "layout" else re.findall(r"logic <> DWORD#16#(\w+)", text)[0]
        text = text.replace(digits, "12345678")
    assert text != site(checked)
    good = [list(record) for record in RECORDS]
    Wanted(checked.values, tuple(good))
    saved.fill(good[0], 0, list(checked.values), Wanted(checked.values, tuple(good)).memory)
    block = block_of(text)
    for _ in range(3):
        answer = block(tuple(good), STEP_MS, 0, 0, REST, REST, REST)
        assert answer[:2] == [0, 1]


# ---- the interpreter and the translation themselves ----


def run(kind: str, expression: str, **inputs: tuple[str, Any]) -> Any:
    """Return the value of an expression."""
    given = "".join(f"{name} : {of};\n" for name, (of, _) in inputs.items())
    text = f"FUNCTION F : {kind}\nVAR_INPUT\n{given}END_VAR\nF := {expression};\nEND_FUNCTION\n"
    return Program(text)["F"](*(value for _, value in inputs.values()))


@pytest.mark.parametrize(
    ("kind", "expression", "of", "x", "value"),
    [
        ("DINT", "x + 1", "DINT", 2147483647, -2147483648),
        ("DINT", "x * 65536", "DINT", 65537, 65536),
        ("DINT", "-x", "DINT", -2147483648, -2147483648),
        ("DINT", "x / 2", "DINT", -7, -3),
        ("UDINT", "x - 2", "UDINT", 1, 4294967295),
        ("DWORD", "SHR(IN := x, N := 1)", "DWORD", 0x80000000, 0x40000000),
        ("DWORD", "SHL(IN := x, N := 1)", "DWORD", 0x80000001, 2),
        ("DWORD", "NOT x", "DWORD", 1, 0xFFFFFFFE),
        ("DWORD", "DINT_TO_DWORD(x)", "DINT", -1, 0xFFFFFFFF),
        ("DINT", "DWORD_TO_DINT(x)", "DWORD", 0x80000000, -2147483648),
        ("BYTE", "DWORD_TO_BYTE(x)", "DWORD", 0x1FF, 0xFF),
    ],
)
def test_integers_wrap_and_bits_shift_as_the_standard_has_it(
    kind: str, expression: str, of: str, x: int, value: int
) -> None:
    """Catches an interpreter whose numbers are those of Python, under which any translation passes."""
    assert run(kind, expression, x=(of, x)) == value


@pytest.mark.parametrize(
    ("kind", "expression", "of"),
    [
        ("DINT", "x AND 1", "DINT"),
        ("DWORD", "x + 1", "DWORD"),
        ("DINT", "x", "DWORD"),
        ("BOOL", "x = TRUE", "DINT"),
        ("BOOL", "x AND x = 1", "BOOL"),
        ("DINT", "y", "DINT"),
        ("DINT", "G(x := x)", "DINT"),
    ],
)
def test_what_a_compiler_would_refuse_is_refused(kind: str, expression: str, of: str) -> None:
    """Catches text that mixes numbers and bits, which no compiler of the language takes."""
    with pytest.raises(SyntaxError, match="line 5"):
        run(kind, expression, x=(of, 1))


def test_an_index_outside_an_array_is_an_error() -> None:
    """Catches a place that is counted from the end, as in Python."""
    text = "FUNCTION F : DINT\nVAR_INPUT\nx : DINT;\nEND_VAR\nVAR\na : ARRAY[0..2] OF DINT;\nEND_VAR\nF := a[x];\nEND_FUNCTION\n"
    assert Program(text)["F"](2) == 0
    for place in (-1, 3):
        with pytest.raises(IndexError):
            Program(text)["F"](place)


@pytest.mark.parametrize(
    "body",
    ["while x: x -= 1", "x = x if x else 1", "x = x ** 2", "x = 0 < x < 3", "x = [1 for _ in range(3)]", "x = abs(x)"],
)
def test_the_translation_refuses_what_it_does_not_know(body: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a statement that would be left out in silence."""
    source = f'def odd(x: int) -> int:\n    """Say."""\n    y = x\n    {body.replace("x", "y")}\n    return y\n'
    monkeypatch.setattr(st_functions.inspect, "getsource", lambda _: source)
    with pytest.raises(st_functions.UnknownFormError):
        st_functions.Text().call(SimpleNamespace(__module__="protect.state", __name__="odd"), ())
