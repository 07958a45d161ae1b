"""The C example of the whole pass: compiled for every target, and run on the host through its story."""

import ctypes
import functools
import re
import subprocess
import tempfile
from pathlib import Path

import pytest

from firmware_ref.digest import logic_digest
from firmware_ref.micropython import sensors
from protect import ranges, saved, state
from replay.port.export import export_settings
from replay.settings import read_settings
from tests.support.toolchain import C_FOLDER, ROOT, WARNINGS, compiled

pytestmark = pytest.mark.slow("runs a compiler for each case")

EXAMPLE = ROOT / "firmware_ref" / "example"
PORT = sorted(C_FOLDER.glob("*.c"))
SLOTS = 16
MEMORY = f"""
#include <string.h>
#include "board.h"
uint8_t slots[{SLOTS}][88];
uint32_t written[{SLOTS}];
int broken = -1;
void board_read_slot(uint16_t slot, uint8_t bytes[], uint16_t count) {{ memcpy(bytes, slots[slot], count); }}
void board_write_slot(uint16_t slot, const uint8_t bytes[], uint16_t count)
{{
    memcpy(slots[slot], bytes, count);
    written[slot]++;
    if (slot == broken) {{ slots[slot][7] ^= 1; }}
}}
"""


@functools.cache
def demo() -> tuple[int, ...]:
    """Return the settings of the demo site."""
    return read_settings(ROOT / "fixtures" / "settings.toml").values


def settings_source(folder: Path) -> Path:
    """Write the exported settings of the demo site."""
    path = folder / "settings.c"
    path.write_text(export_settings(read_settings(ROOT / "fixtures" / "settings.toml"), "c"))
    return path


def built(folder: Path, *sources: Path, name: str = "story", flags: tuple[str, ...] = ()) -> Path:
    """Build a program or a library on the host."""
    said = compiled("gcc", *WARNINGS, "-O2", *flags, f"-I{C_FOLDER}", f"-I{EXAMPLE}", *sources, "-o", folder / name)
    assert said.returncode == 0, said.stderr
    return folder / name


@functools.cache
def library(text: str = "") -> ctypes.CDLL:
    """Return sensors and store of the example, with a memory of slots beside them; text stands for store.c."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "memory.c").write_text(MEMORY)
        store = EXAMPLE / "store.c"
        if text:
            store = folder / "store.c"
            store.write_text(text)
        sources = (folder / "memory.c", store, EXAMPLE / "sensors.c", *PORT)
        return ctypes.CDLL(str(built(folder, *sources, name="library.so", flags=("-shared", "-fPIC"))))


class Range(ctypes.Structure):
    """sensor_range."""

    _fields_ = (("least_kpa", ctypes.c_int32), ("most_kpa", ctypes.c_int32))


@pytest.mark.parametrize(
    ("compiler", "machine"),
    [("arm-none-eabi-gcc", ("-mcpu=cortex-m0", "-mthumb")), ("avr-gcc", ("-mmcu=atmega328p",)), ("gcc", ())],
)
def test_every_compiler_takes_the_example_without_a_warning(
    compiler: str, machine: tuple[str, ...], tmp_path: Path
) -> None:
    """Catches an example that only the host's compiler takes, or one where an `int` of 16 bits runs over."""
    for source in (*EXAMPLE.glob("*.c"), settings_source(tmp_path)):
        if source.name == "story.c" and compiler == "avr-gcc":
            continue  # the story is for the host
        said = compiled(
            compiler, *WARNINGS, *machine, "-Os", f"-I{C_FOLDER}", f"-I{EXAMPLE}", "-c", source, "-o", tmp_path / "x.o"
        )
        assert (said.returncode, said.stderr) == (0, ""), source.name


def test_the_story_comes_out_as_it_is_told(tmp_path: Path) -> None:
    """Catches a pass that forgets relay, alarm, record, watchdog or service line, a wrong cause, and a write past a line."""
    watched = ("-fsanitize=undefined,address", "-fno-sanitize-recover=all")
    program = built(tmp_path, *EXAMPLE.glob("*.c"), *PORT, settings_source(tmp_path), flags=watched)
    done = subprocess.run([program], capture_output=True, text=True, check=False, timeout=20)
    assert done.returncode == 0, done.stdout
    told: dict[str, list[str]] = {}
    for line in done.stdout.splitlines():
        if not line.startswith("  "):
            chapter = told.setdefault(line, [])
            continue
        said = re.match(r"  (.*); run permission (\d); alarm (\d); .*; cause (.*?); logic (\w+); settings (\w+)$", line)
        words = f"{said[1]}, {said[2]}, {said[3]}, {said[4]}" if said else line.strip()
        if said:
            digest = read_settings(ROOT / "fixtures" / "settings.toml").digest
            assert (said[5], said[6]) == (logic_digest()[:16], digest[:16])
        if words not in chapter[-1:]:
            chapter.append(words)

    assert list(told.values()) == [
        ["alarm on", "locked out, 0, 1, none"],
        ["tripped, 0, 1, none", "alarm off", "stopped, 1, 0, none"],
        ["lubricated, 1, 0, none"],
        ["alarm on", "starved, 1, 1, none", "tripped, 0, 1, oil pressure"],
        ["tripped, 0, 1, oil pressure"],
        ["tripped, 0, 1, oil pressure", "alarm off", "stopped, 1, 0, none", "lubricated, 1, 0, none"],
        ["alarm on", "starved, 1, 1, none", "tripped, 0, 1, sensor: oil pressure missing"],
        [
            "tripped, 0, 1, sensor: oil pressure missing",
            "alarm off",
            "slot 5 does not keep what was written",
            "stopped, 1, 0, none",
        ],
        ["alarm on", "alarm off", "stopped, 1, 0, none"],
        [],
    ]


def test_a_reading_is_that_of_the_micropython_board_at_every_count() -> None:
    """Catches a scale that is off by one, a broken wire that reads as no pressure, and a division that rounds up below nothing."""
    here = library()
    for ends in ((0, 2000), (100, 1600), (0, 20000)):
        for counts in range(0, 65536, 7):
            current = here.sensor_loop_current(ctypes.c_uint16(counts), 22000)
            assert current == sensors.loop_current(counts, 22000)
            assert here.sensor_loop_pressure(current, Range(*ends)) == sensors.loop_pressure(current, *ends)
            for supply in (34999, 35000, 43690, 50000, 50001):
                words = (ctypes.c_uint16(word) for word in (counts, supply, 35000, 50000))
                wanted = sensors.ratiometric_pressure(counts, supply, (35000, 50000), *ends)
                assert here.sensor_ratiometric_pressure(*words, Range(*ends)) == wanted
    for current in (3799, 3800, 3999, 4000, 20500, 20501):
        assert here.sensor_loop_pressure(current, Range(0, 2000)) == sensors.loop_pressure(current, 0, 2000)


class Store:
    """The store of the example on an empty memory."""

    def __init__(self, here: ctypes.CDLL) -> None:
        self.here = here
        self.values = (ctypes.c_int32 * ranges.SETTINGS_SIZE)(*demo())
        self.memory = (ctypes.c_int32 * state.STATE_SIZE)()
        self.slots = (ctypes.c_uint8 * 88 * SLOTS).in_dll(here, "slots")
        self.written = (ctypes.c_uint32 * SLOTS).in_dll(here, "written")
        self.broken = ctypes.c_int.in_dll(here, "broken")
        ctypes.memset(self.slots, 0, ctypes.sizeof(self.slots))
        ctypes.memset(self.written, 0, ctypes.sizeof(self.written))
        self.broken.value = -1

    def save(self, number: int, percent: int) -> int:
        """Save a state that tells its percent; return the number of its record."""
        words = [0] * state.STATE_SIZE
        state.power_up(words, list(demo()))
        words[state.INTEGRAL] = percent
        self.memory[:] = words
        return int(self.here.store_save(number, self.values, self.memory))

    def recall(self) -> tuple[int, int, int]:
        """Return number, state and integral of what comes up."""
        number = int(self.here.store_recall(self.memory, self.values))
        return number, self.memory[state.STATE], self.memory[state.INTEGRAL]


def newest_comes_back(here: ctypes.CDLL) -> None:
    """Save many records around the end of the numbers; the newest comes back each time, and every slot is written alike."""
    store, number = Store(here), saved.NUMBERS - 40
    assert store.recall() == (saved.NO_RECORD, state.LOCKED_OUT, 0)
    for turn in range(80):
        number = store.save(number, turn)
        assert number == (saved.NUMBERS - 39 + turn) % saved.NUMBERS
        assert store.recall() == (number, state.STOPPED, turn)
    assert set(store.written) == {80 // SLOTS}
    store.slots[number % SLOTS][20] ^= 1  # the power went while it was written
    assert store.recall() == ((number - 1) % saved.NUMBERS, state.STOPPED, 78)


def test_the_newest_record_comes_back_and_wear_is_spread() -> None:
    """Catches a ring that goes wrong where the numbers begin anew, and one that writes one place all the time."""
    newest_comes_back(library())
    text = (EXAMPLE / "store.c").read_text()
    for good, bad in (("ahead < (NUMBERS / 2)", "number > than"), ("number % STORE_SLOTS", "number % 2")):
        assert text.count(good) == 1
        with pytest.raises(AssertionError):
            newest_comes_back(library(text.replace(good, bad)))


def test_a_slot_that_keeps_nothing_is_passed_over() -> None:
    """Catches a record that is lost in silence."""
    store = Store(library())
    number = store.save(saved.NO_RECORD, 7)
    store.broken.value = number + 1
    assert store.save(number, 8) == number + 2
    assert store.recall() == (number + 2, state.STOPPED, 8)
    store.here.board_write_slot.restype = None
    store.broken.value = (number + 3) % SLOTS
    assert store.save(number + 2, 9) == number + 4
