"""The C port reads the cause-and-effect table as the reference does: every state with every combination of conditions.

No proof covers this part of the port, so all that it can be asked is asked.
"""

import ctypes
import itertools
import tempfile
from pathlib import Path

import pytest

from protect import conditions, state, table
from tests.support.protection import PROFILE, admit
from tests.support.protection import STATES as NAMES
from tests.support.toolchain import C_FOLDER, C_SOURCE, WARNINGS, compiled

BITS = len(conditions.NAMES)
SETTINGS = admit(PROFILE)
SHIM = """
#include "{source}"
void settled(int32_t state[], const int32_t settings[], uint32_t bits);
void settled(int32_t state[], const int32_t settings[], uint32_t bits) {{ settle(state, settings, bits); }}
"""
DEFECTS = {
    "the table is read once": ("moves < LT_MOST_MOVES", "moves < 1"),
    "the last row is left out": ("number < LUBETRIP_ROW_COUNT", "number < LUBETRIP_ROW_COUNT - 1"),
    "the first row is left out": (
        "number = 0; (number < LUBETRIP_ROW_COUNT)",
        "number = 1; (number < LUBETRIP_ROW_COUNT)",
    ),
}


def settled(folder: Path, source: Path) -> ctypes.CDLL:
    """Build a port's reading of its table."""
    (folder / "shim.c").write_text(SHIM.format(source=source.name))
    flags = ("-O1", "-shared", "-fPIC", "-fsanitize=undefined", "-fsanitize-undefined-trap-on-error")
    include = (f"-I{source.parent}", f"-I{C_FOLDER}")
    said = compiled("gcc", *WARNINGS, *flags, *include, folder / "shim.c", "-o", folder / "table.so")
    assert said.returncode == 0, said.stderr
    return ctypes.CDLL(str(folder / "table.so"))


def first_difference(port: ctypes.CDLL) -> tuple[str, int] | None:
    """Return the state and bits that a port settles otherwise than the reference, or None."""
    words = ctypes.c_int32 * state.STATE_SIZE
    settings = (ctypes.c_int32 * len(SETTINGS))(*SETTINGS)
    for name, bits in itertools.product(NAMES, range(1 << BITS)):
        memory = list(range(100, 100 + state.STATE_SIZE))
        memory[state.STATE], memory[state.TRIPS] = NAMES.index(name), 1
        given = words(*memory)
        table.settle(memory, SETTINGS, bits)
        port.settled(given, settings, ctypes.c_uint32(bits))
        if list(given) != memory:
            return name, bits
    return None


def test_every_state_with_every_combination_of_conditions_settles_alike() -> None:
    """Catches a row read in another order, a mask cut off, an effect missed or repeated in the port."""
    with tempfile.TemporaryDirectory() as folder:
        assert first_difference(settled(Path(folder), C_SOURCE)) is None


@pytest.mark.slow("runs a compiler")
@pytest.mark.parametrize("defect", DEFECTS)
def test_a_port_that_reads_the_table_otherwise_is_found(defect: str, tmp_path: Path) -> None:
    """Catches a comparison that any port would pass."""
    right, wrong = DEFECTS[defect]
    text = C_SOURCE.read_text()
    assert text.count(right) == 1
    (tmp_path / "lubetrip.c").write_text(text.replace(right, wrong))

    assert first_difference(settled(tmp_path, tmp_path / "lubetrip.c")) is not None
