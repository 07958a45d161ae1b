"""The quick gates stand open, and each is shut by its seeded defect; the slow ones are run by hand: tests/README.md."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.gates import coverage_python, int16, mutation_c, sanitizers, static_analysis
from tests.gates.__main__ import GATES, command
from tests.gates.port import Verdict, planted
from tests.gates.reasons import judged, reasons
from tests.gates.seeded import SEEDED
from tests.support.toolchain import C_FOLDER, HUNTED, need

pytestmark = pytest.mark.slow("builds the vectors, or goes through all of them")


@pytest.fixture(autouse=True)
def tools() -> None:
    """Skip, by name, what cannot run here."""
    need("gcc")
    need("clang-tidy")


@pytest.mark.outside(
    computation="C port: the analysers",
    source="MISRA C:2012 by cppcheck's add-on, gcc, clang-tidy",
    status="consulted",
    agreement="nothing but the deviations that `firmware_ref/README.md` lists",
)
def test_analysers_find_nothing_but_the_listed_deviations() -> None:
    """Catches a MISRA finding, a leak or an unused value in the C port that came in unseen."""
    verdict = static_analysis.judge()

    assert (verdict.good, verdict.lines) == (True, ("0 findings beside 8 MISRA deviations with number and reason",))


def test_a_finding_without_a_deviation_shuts_the_analysis(tmp_path: Path) -> None:
    """Catches a gate that lists findings and opens all the same."""
    verdict = SEEDED["analysis"](tmp_path)

    assert not verdict.good
    assert "MISRA C:2012 rule 15.7 in counted_elapsed: no deviation" in verdict.lines


DEVIATION = "| D3 | 5.9 | `within` | a helper of two lines with the same meaning in both files, static in each |"


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("", "MISRA C:2012 rule 5.9 in within: no deviation"),
        (DEVIATION.replace("D3", ""), "deviation without a number: rule 5.9"),
        (DEVIATION.replace("D3", "D4"), "two deviations have one number"),
        (
            DEVIATION.replace("a helper of two lines with the same meaning in both files, static in each", "-"),
            "deviation without a reason: D3",
        ),
        (DEVIATION.replace("`within`", "`within`, `weight`"), "deviation that nothing needs: rule 5.9 in weight"),
    ],
)
def test_a_deviation_needs_number_reason_and_use(
    row: str, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a list of deviations that excuses without saying why, or keeps what is long mended."""
    found = static_analysis.misra_findings(C_FOLDER) if not FOUND else FOUND[0]
    FOUND[:] = [found]
    monkeypatch.setattr(static_analysis, "misra_findings", lambda _: (set(found[0]), list(found[1])))
    text = static_analysis.README.read_text()
    assert text.count(DEVIATION) == 1
    readme = tmp_path / "README.md"
    readme.write_text(text.replace(DEVIATION, row))

    assert said in static_analysis.judged_by_misra(C_FOLDER, readme)


FOUND: list[tuple[set[tuple[str, str]], list[str]]] = []


@pytest.mark.parametrize("judge", [static_analysis.judged_by_gcc, static_analysis.judged_by_tidy])
def test_gcc_and_clang_tidy_look_for_themselves(judge: object, tmp_path: Path) -> None:
    """Catches an analyser that is called in vain: a division by nothing is planted, which each has to see."""
    source = planted(
        tmp_path, "    int32_t past = 0;\n", "    int32_t past = 0;\n    int32_t *nowhere = 0;\n    *nowhere = past;\n"
    )

    assert judge(C_FOLDER / "lubetrip.c") == []
    assert judge(source)


def test_branches_of_protect_are_all_run_by_the_vectors_and_records() -> None:
    """Catches a branch of the logic that what is held of it never takes."""
    verdict = coverage_python.judge()

    assert verdict.good, verdict.lines


def test_a_vector_set_without_reload_stops_shuts_the_coverage(tmp_path: Path) -> None:
    """Catches a gate that is content with most branches."""
    verdict = SEEDED["coverage-protect"](tmp_path)

    assert not verdict.good
    assert any("table.py" in line for line in verdict.lines)


@pytest.mark.outside(
    computation="C port where int has 16 bits",
    source="avr-gcc and the emulator simavr",
    status="consulted",
    agreement="every word",
)
def test_every_vector_record_and_sealed_step_is_right_where_int_has_16_bits() -> None:
    """Catches a port that is right on 32-bit cores only: a shift, a product or a promotion within a small int."""
    need("avr-gcc")
    verdict = int16.judge()

    assert verdict.good, verdict.lines
    assert [line.split(":")[0] for line in verdict.lines[:-1]] == ["step", "write record", "recall", "sealed step"]


def test_a_shift_out_of_a_small_int_is_told_by_the_compiler_and_by_the_emulator(tmp_path: Path) -> None:
    """Catches a gate that only compiles, and one that never looks at saved records: the steps stay right here."""
    need("avr-gcc")
    verdict = SEEDED["int16"](tmp_path)

    assert not verdict.good
    assert any("lubetrip_saved.c" in line and "shift" in line for line in verdict.lines)
    assert any(line.startswith("difference in item") for line in verdict.lines)


@pytest.mark.settled(*HUNTED)
def test_the_vectors_alone_kill_every_mutant_of_the_c_port_that_is_not_equivalent() -> None:
    """Catches a vector set that lets a wrong operator, constant, place or statement live."""
    verdict = mutation_c.judge()

    assert verdict.good, verdict.lines


def test_a_place_that_no_vector_decides_shuts_the_mutation(tmp_path: Path) -> None:
    """Catches a gate that counts survivors and lets them pass."""
    verdict = SEEDED["mutation-c"](tmp_path)

    assert not verdict.good
    assert any("survived: stuck_part: `if (unmoved < 0) {`" in line for line in verdict.lines)


def test_a_reason_is_wanted_for_every_survivor_and_only_for_those(tmp_path: Path) -> None:
    """Catches a list of equivalents that excuses without a reason, or what does not survive any more."""
    alive = {("f", "a", "b"), ("f", "a", "c")}
    listed = tmp_path / "list.toml"
    row = '[[equivalent]]\nfunction = "f"\nline = "a"\nchanged = ["b", "d"]\n'
    listed.write_text(row)

    assert judged(alive, reasons(listed)) == [
        "survived: f: `a` -> `c`",
        "listed, but does not survive: f: `a` -> `d`",
        "listed without a reason: f: `a` -> `b`",
        "listed without a reason: f: `a` -> `d`",
    ]
    listed.write_text(row.replace('"d"', '"c"') + 'reason = "because"\n')
    assert judged(alive, reasons(listed)) == []


def test_a_look_past_the_table_is_found_by_the_sanitizers_alone(tmp_path: Path) -> None:
    """Catches a build without sanitizers: every word still comes out right."""
    verdict = SEEDED["sanitizers"](tmp_path)

    assert not verdict.good
    assert "AddressSanitizer" in verdict.lines[0]


@pytest.mark.outside(
    computation="C port: MC/DC of the vectors",
    source="clang-19, the gate coverage-c, run by hand",
    status="consulted",
    agreement="as `python -m tests.gates coverage-c` prints",
)
def test_every_gate_has_its_seeded_defect() -> None:
    """Catches a gate that nobody has seen shut."""
    assert set(SEEDED) == set(GATES)


@pytest.mark.parametrize(
    ("good", "seeded", "status"), [(True, False, 0), (False, False, 1), (False, True, 0), (True, True, 1)]
)
def test_exit_status_tells_a_shut_gate(good: bool, seeded: bool, status: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a command that prints findings and succeeds, or a seeded run that succeeds when the gate stays open."""
    monkeypatch.setattr(sanitizers, "judge", lambda: Verdict(good, ("a line",)))
    monkeypatch.setitem(SEEDED, "sanitizers", lambda _: Verdict(good, ("a line",)))
    done = CliRunner().invoke(command, ["sanitizers", *(["--seeded"] if seeded else [])])

    assert done.exit_code == status
    assert done.output.startswith(f"a line: {'open' if good else 'shut'}; logic ")
