"""What the port takes on a target: nothing that is linked is left out, and the stack is what an emulator finds."""

import re
import shutil
from pathlib import Path

import pytest

from firmware_ref import size
from tests.gates import int16
from tests.support.toolchain import C_FOLDER, need

pytestmark = pytest.mark.slow("runs a compiler for each case")

ARM = size.TARGETS[0]


def planted(folder: Path, name: str, good: str, bad: str) -> Path:
    """Return a copy of the port in which one place is changed."""
    for path in C_FOLDER.glob("*.[ch]"):
        shutil.copy(path, folder)
    text = (folder / name).read_text()
    assert text.count(good) == 1
    (folder / name).write_text(text.replace(good, bad))
    return folder


@pytest.mark.parametrize("target", size.TARGETS, ids=lambda target: target.name)
def test_all_that_is_linked_is_counted(target: size.Target) -> None:
    """Catches a section of the port, or a helper, that the report passes over: it would count for the program around."""
    need(f"{target.prefix}gcc")
    found = size.measure(target)

    assert all(part > 0 for name, part in found.flash.items() if name != "compiler helpers")
    assert (found.flash["compiler helpers"] > 0) == (target.prefix == "avr-")  # an AVR multiplies 32 bits by a helper
    assert 0 < found.linked - sum(found.flash.values()) < 700  # main, and the start-up of the AVR with its vectors
    assert found.flash["settings"] == 4 * 29


def test_the_step_keeps_its_budget_and_the_command_fails_over_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Catches a step that has outgrown the small cores, and a command that prints numbers and always succeeds."""
    for target in size.TARGETS:
        need(f"{target.prefix}gcc")
    assert size.measure().step <= size.FLASH_BUDGET == 3 * 1024
    assert 4 * size.STATE_SIZE <= size.STATE_BUDGET == 64
    assert size.main([]) == 0
    assert "| stack: sealed step |" in capsys.readouterr().out
    monkeypatch.setattr(size, "FLASH_BUDGET", 500)
    assert size.main([]) == 1


def test_a_division_in_the_step_shows_as_a_helper(tmp_path: Path) -> None:
    """Catches a report that does not see what the compiler brings along."""
    need(f"{ARM.prefix}gcc")
    bad = planted(tmp_path, "lubetrip.c", "uint32_t elapsed = now - before;", "uint32_t elapsed = now / (before | 1U);")

    assert size.measure(source=bad).flash["compiler helpers"] > size.measure().flash["compiler helpers"] + 50


@pytest.mark.parametrize("target", size.TARGETS, ids=lambda target: target.name)
def test_a_large_variable_deep_in_the_seal_shows_in_the_stack_of_the_sealed_step_alone(
    target: size.Target, tmp_path: Path
) -> None:
    """Catches a path of calls that ends too soon, or frames that are added up although they never stand together."""
    need(f"{target.prefix}gcc")
    good = "    uint32_t sum = BEGIN;\n    uint32_t weight = 1U;\n"
    large = "    volatile uint8_t large[300];\n    large[299] = 1U;\n    (void)large[299];\n"
    found = size.measure(target, planted(tmp_path, "lubetrip_seal.c", good, large + good)).stack
    before = size.measure(target).stack

    assert before["lubetrip_sealed_step"] < 200 < found["lubetrip_sealed_step"] - 100
    assert {**found, "lubetrip_sealed_step": 0} == {**before, "lubetrip_sealed_step": 0}


@pytest.mark.slow("runs the vectors on an emulated AVR")
@pytest.mark.outside(
    computation="Stack of steps and records on an AVR",
    source="simavr, which runs the program and watches its stack",
    status="consulted",
    agreement="the same number of bytes for each call",
)
def test_the_stack_is_what_an_emulator_finds() -> None:
    """Catches a frame, a return address or a path of calls that is counted wrong."""
    need("avr-gcc")
    said = "\n".join(int16.judge().lines)
    found = dict(re.findall(r"^([a-z ]+): \d+ calls, at most \d+ cycles and (\d+) bytes of stack$", said, re.MULTILINE))
    stack = size.measure(size.TARGETS[2]).stack

    assert {
        call: int(found[name])
        for call, name in zip(size.CALLS, ("sealed step", "step", "recall", "write record"), strict=True)
    } == stack


def test_the_document_holds_what_the_command_prints() -> None:
    """Catches figures that are of an older port. Mend it with `python -m firmware_ref.size --document`."""
    need("avr-gcc")
    need("arm-none-eabi-gcc")
    now = size.report({target.name: size.measure(target) for target in size.TARGETS})
    text = size.DOCUMENT.read_text()

    assert text.startswith(size.DOCUMENT_HEAD)
    if now.splitlines()[-1] in text:  # the same compilers
        assert text == size.DOCUMENT_HEAD + now
