"""The vectors: they cover all that the logic can do, and both their forms hold the same."""

import dataclasses
import hashlib
import os
import struct
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from protect import ranges, settings
from replay.ground.refusal import Refusal
from replay.port.coverage import wanted
from replay.port.vectors import covered, read_vectors
from tests.support.toolchain import ROOT, vector_set

pytestmark = pytest.mark.slow("builds the vectors, or goes through all of them")


@pytest.fixture
def text_file(tmp_path: Path) -> Path:
    """Return a file with the vectors in plain form."""
    path = tmp_path / "vectors.txt"
    path.write_text(vector_set().text())
    return path


def test_covers_every_row_bit_clamp_wrap_and_limit() -> None:
    """Catches a set that leaves out something the logic can do."""
    assert wanted() - covered(vector_set()) == set()


def test_wants_what_the_tables_of_the_logic_hold() -> None:
    """Catches a yardstick that forgot a row, a condition or a setting.

    Of the 30 bits under the masks, two cannot miss alone: low never stands with healthy.
    """
    kinds = {
        kind: sum(item[0] == kind for item in wanted()) for kind in ("row", "bit", "setting", "near miss", "limit")
    }

    assert kinds == {"row": 21, "bit": 2 * 12, "setting": 2 * 26, "near miss": 30 - 2, "limit": 3 * 37}


@pytest.mark.parametrize("item", [("row", "14"), ("bit", "reload_guard", "on"), ("limit", "integral, trip_delay", "0")])
def test_a_set_without_the_cases_of_an_item_does_not_cover_it(item: tuple[str, ...]) -> None:
    """Catches a yardstick that calls everything covered."""
    whole = vector_set()
    kept = [c for c in whole.cases if item not in covered(dataclasses.replace(whole, cases=(c,)))]

    assert item not in covered(dataclasses.replace(whole, cases=tuple(kept)))
    assert len(kept) < len(whole.cases)


def test_expects_what_the_logic_does() -> None:
    """Catches vectors that were edited or are of an older logic."""
    whole = vector_set()
    first = whole.cases[0]
    wrong = dataclasses.replace(first.ticks[3], state=(9, *first.ticks[3].state[1:]))
    ticks = (*first.ticks[:3], wrong, *first.ticks[4:])
    edited = dataclasses.replace(whole, cases=(dataclasses.replace(first, ticks=ticks),))

    with pytest.raises(ValueError, match="tick 3"):
        covered(edited)


def test_checks_settings_at_and_beyond_every_end() -> None:
    """Catches a set that never asks a port to refuse settings: each range and relation has to be broken once."""
    faults = {check.fault for check in vector_set().checks}

    assert faults == {-1, *range(26 + 11)}


def test_of_two_faults_the_first_is_asked_for() -> None:
    """Catches a set that a port passes which checks from the last to the first, low ends before high ones, or relations first."""
    asked = [(check.values, check.fault) for check in vector_set().checks]
    rows, relations = ranges.SETTINGS, settings.RELATIONS

    for place in range(len(rows) - 1):
        both = [
            v for v, fault in asked if fault == place and not rows[place + 1][2] <= v[place + 1] <= rows[place + 1][3]
        ]
        assert {v[place] < rows[place][2] for v in both} == {False, True}
    for number, (low, high, gap) in enumerate(relations[1:]):
        assert any(fault == 26 + number and v[low] + gap > v[high] for v, fault in asked)
    assert sum(fault == 25 and any(v[a] + gap > v[b] for a, b, gap in relations) for v, fault in asked) >= len(
        relations
    )


def test_a_value_that_is_sound_in_fewer_bits_or_without_its_sign_is_asked_for() -> None:
    """Catches a set that a port passes which keeps a setting in a byte, a half word or without its sign before it checks."""
    asked = [check.values for check in vector_set().checks if check.fault == ranges.RESETS_MOST]
    found = {values[ranges.RESETS_MOST] for values in asked}

    assert {-2, 2 + 256, 2 + 65536, 2 - (1 << 31), (1 << 31) - 1} <= found


def test_ticks_wrap_on_both_widths() -> None:
    """Catches a set without a wrap of the counter, and one without the largest elapsed time."""
    for bits in (30, 32):
        found = [d for d in vector_set().differences if d.bits == bits]
        assert any(d.now < d.before for d in found)
        assert any(d.elapsed == ranges.INPUTS[ranges.ELAPSED][3] for d in found)
        assert all(d.now < 1 << bits and d.before < 1 << bits for d in found)
    assert {(d.now - d.before) % (1 << 32) for d in found} >= {(1 << 30) - 1, 1 << 30, (1 << 30) + 1}


def test_a_build_gives_the_same_set_in_every_process() -> None:
    """Catches an order that hangs on the hashing of a process."""
    code = "from replay.port.vectors import build; print(build().digest)"
    other = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONHASHSEED": "7"},
    )

    assert other.stdout.strip() == vector_set().digest


def test_the_set_is_the_one_that_ports_were_held_to() -> None:
    """Catches vectors that ask something else than before though the logic is the same: ports proved on them were not asked it.

    Who means to change what is asked, or the logic, states the new digest here.
    """
    asked = dataclasses.replace(vector_set(), logic="")

    assert asked.digest == "8566b1096a7bd437deb9b8aa7360df595c925ca7f80db5027b2f2f236116055d"


def test_a_set_of_reasonable_size() -> None:
    """Catches walks that are kept for nothing: a firmware team takes the file along with its release."""
    assert len(vector_set().text()) < 2_000_000


def test_asks_for_saved_records_and_seals() -> None:
    """Catches a set that compares the bare step alone: whole, damaged and foreign records, and flipped bits, have to be asked."""
    asked = Counter(exchange.asked.split()[0] for exchange in vector_set().exchanges)
    numbers = {e.answer.split()[1] for e in vector_set().exchanges if e.answer.startswith("recalled")}
    holds = {e.answer for e in vector_set().exchanges if e.answer.startswith("holds")}

    assert min(asked[word] for word in ("save", "recall", "next", "seal", "flip", "sealed")) >= 6
    assert (
        asked["flip"] == 16 + 29 + 4 + 2 * 8 + 2
    )  # each word of a running machine, some of a stopped one, two put right
    assert {"-1", "0", "1", "20000"} <= numbers
    assert holds == {"holds 0", "holds 1"}


def test_the_plain_form_reads_back(text_file: Path) -> None:
    """Catches a writer and a reader that differ on anything."""
    assert read_vectors(text_file) == vector_set()


def decoded(binary: bytes) -> list[tuple[int, ...]]:
    """Decode the compact form from its description alone; a tick comes out as its 31 words."""
    assert binary[:4] == b"LTV2"
    words = iter(struct.unpack(f"<{len(binary) // 4 - 9}i", binary[36:]))
    found: list[tuple[int, ...]] = []
    last: list[int] = []
    for word in words:
        if word >= 0:
            for place in range(31):
                if word >> place & 1:
                    last[place] = next(words)
            found.append(tuple(last))
            continue
        size = {1: 45, 2: 30, 3: 4, 0: 0}[word & 0xFF]
        content = tuple(next(words) for _ in range(size))
        found.append(content)
        if size == 45:
            last = [0] * 6 + list(content[29:]) + [0] * 9
    return found


def test_the_compact_form_holds_the_same() -> None:
    """Catches a compact form that loses a word or tells another story than the plain one."""
    whole = vector_set()
    wanted_words: list[tuple[int, ...]] = []
    for case in whole.cases:
        wanted_words.append((*case.settings, *case.start))
        wanted_words += [(*tick.inputs, *tick.state, *tick.outputs) for tick in case.ticks]
    wanted_words += [(*check.values, check.fault, *check.derived) for check in whole.checks]
    signed = [(d.bits, *((n + 2**31) % 2**32 - 2**31 for n in (d.now, d.before)), d.elapsed) for d in whole.differences]

    assert decoded(whole.binary()) == [*wanted_words, *signed, ()]
    assert whole.binary()[4:36].hex() == whole.digest
    assert len(whole.binary()) < len(whole.text()) / 2


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("lubetrip-vectors 2", "lubetrip-vectors 1", "line 1"),
        ("\nstep ", "\nstop ", "line 6: unknown word 'stop'"),
        ("\nstep ", "\nstep 7 ", "line 6: 32 numbers; accepted: 31 after 'step'"),
        ("\nstep ", "\nstep x", "line 6 = "),
        ("\ncase PURPOSE\n", "\n", "line 3: 'settings' before the first case"),
        ("\nsettings ", "\nsettings 7", "the digest does not fit the content"),
        ("\nlogic ", "\nlogic 0", "the digest does not fit the content"),
        ("\ndigest ", "\ndigest 0", "the digest does not fit the content"),
    ],
)
def test_refuses_vectors_that_are_not_whole(old: str, new: str, says: str, text_file: Path) -> None:
    """Catches a run against vectors that somebody touched."""
    old = old.replace("PURPOSE", vector_set().cases[0].purpose)
    text_file.write_text(text_file.read_text().replace(old, new, 1))

    with pytest.raises(Refusal, match=r"vectors\.txt: ") as refused:
        read_vectors(text_file)
    assert says in str(refused.value)


@pytest.mark.parametrize("content", [b"", b"\n", b"lubetrip-vectors 2", b"lubetrip-vectors 2\n\n", b"\xff\xfe"])
def test_refuses_a_file_that_is_no_vectors(content: bytes, text_file: Path) -> None:
    """Catches a traceback on an empty or foreign file."""
    text_file.write_bytes(content)

    with pytest.raises(Refusal):
        read_vectors(text_file)
    text_file.unlink()
    with pytest.raises(Refusal, match="cannot be read"):
        read_vectors(text_file)


def test_what_is_wanted_and_what_each_case_meets_is_what_it_was() -> None:
    """Catches a yardstick that asks for less, or sees in a case what is not there. Who means it states the new digest."""
    met = [sorted(map(repr, covered(dataclasses.replace(vector_set(), cases=(case,))))) for case in vector_set().cases]
    told = hashlib.sha256(repr((sorted(map(repr, wanted())), met)).encode()).hexdigest()

    assert (len(wanted()), told[:16]) == (304, "802adb2416bf6742")
