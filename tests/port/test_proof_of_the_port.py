"""What the proof of the C port takes for granted holds: its axioms on bits, with bit vectors, for all 32-bit words."""

import re

import pytest
import z3

from tests.gates.port import C_FOLDER

WIDTH = 40  # bits: room for a sum of two words
CONTRACTS = "".join(path.read_text() for path in sorted((C_FOLDER.parent / "proof").iterdir()))
AXIOMS = dict(re.findall(r"axiom (\w+): (\\forall integer [^;]*;[^;]*);", CONTRACTS))


def digit(word: z3.BitVecRef, bit: int) -> z3.BoolRef:
    """Return what the macro of the same name in contracts.h says."""
    return z3.UDiv(word, bit) % 2 == 1


def read(term: str, words: dict[str, object]) -> z3.BoolRef:
    """Return a conjunction of comparisons, as ACSL has it, of bit vectors without sign."""
    parts = []
    for part in (p.strip() for p in term.split("&&")):
        refused = part.startswith("!")
        text = re.sub(r"\((\w) >> (\d+)\)", r"LShR(\1, \2)", part.removeprefix("!"))
        text = re.sub(r"(\w) / (\d+)$", r"UDiv(\1, \2)", text)
        text = re.sub(r"^0 <= (\w)$", r"ULE(0 * \1, \1)", text)
        known = {"digit": digit, "LShR": z3.LShR, "UDiv": z3.UDiv, "ULE": z3.ULE}
        said = eval(text, known, words)  # noqa: S307 - the project's own contracts
        parts.append(z3.Not(said) if refused else said)
    return z3.And(*parts)


def holds(axiom: str) -> bool:
    """Tell whether an axiom holds for all words below 2^32."""
    matched = re.fullmatch(r"\\forall integer ([\w, ]+);(.*) ==>(.*)", axiom, re.DOTALL)
    assert matched, axiom
    words = {name: z3.BitVec(name, WIDTH) for name in matched[1].split(", ")}
    solver = z3.Solver()
    solver.add(*(z3.ULT(word, 1 << 32) for word in words.values()))
    solver.add(read(matched[2], words), z3.Not(read(matched[3], words)))
    return bool(solver.check() == z3.unsat)


def test_the_contracts_take_thirteen_facts_for_granted() -> None:
    """Catches an axiom that is added, or written so that the check below passes it by."""
    assert "lemma" not in CONTRACTS
    assert len(AXIOMS) == CONTRACTS.count("axiom ") == 13


@pytest.mark.outside(
    computation="claims on the C port, its step included",
    source="Frama-C WP, the gate proof-c; the facts on bits that it takes for granted by z3",
    status="consulted",
    agreement="as `python -m tests.gates proof-c` prints",
)
@pytest.mark.parametrize("name", AXIOMS)
def test_axiom_holds_for_all_words(name: str) -> None:
    """Catches an axiom from which false can be worked out, and with it anything."""
    assert holds(AXIOMS[name])


@pytest.mark.parametrize(
    ("name", "good", "bad"),
    [
        ("by_slope_bits", "65536", "65535"),
        ("asked_reset_press", "(b & 256) != 0", "(b & 512) != 0"),
        ("room_for_a_reset", "f <= 479", "f <= 478"),
        ("not_running", "!digit(b & m, 1)", "digit(b & m, 1)"),
        ("last_trip", "!digit(m, 128)", "digit(m, 128)"),
        ("joined", "(a | b) <= 134217727", "(a | b) <= 134217726"),
        ("kept_flags", "f <= 240", "f <= 239"),
        ("no_less_joined", "a <= (a | b)", "a < (a | b)"),
    ],
)
def test_a_wrong_axiom_is_found(name: str, good: str, bad: str) -> None:
    """Catches a check that any axiom passes."""
    assert AXIOMS[name].count(good) == 1
    assert not holds(AXIOMS[name].replace(good, bad))
