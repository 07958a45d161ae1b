"""`protect/` unmodified on a real MicroPython, and the wiring around it on a stand-in board."""

import importlib
import re
import subprocess
import sys
import types
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from protect import outputs, ranges, saved, state
from protect.signals import OIL_MISSING
from replay.engine import cause_of
from replay.port.conform import conform as drive
from replay.port.links import command_link
from replay.port.vectors import middle_settings
from tests.support import fake_board
from tests.support.toolchain import ROOT, need, vector_set

pytestmark = pytest.mark.slow("runs a compiler, an emulator, another Python or a browser for each case")

WIRING = ROOT / "firmware_ref" / "micropython"
MODULES = ("board", "display", "main", "saved", "sensors", "ticks", "wiring")
OIL, SUCTION, SUPPLY, RUN, RESET, RELAY, ALARM = 26, 27, 28, 14, 15, 16, 17
DIGEST = "3fa81b0c" + 56 * "0"


def micropython(*arguments: str | Path) -> str:
    """Run a script on MicroPython under node and return what it printed."""
    if not (WIRING / "node_modules").is_dir():
        pytest.skip("MicroPython is not installed: run tests/tools.sh")
    done = subprocess.run(
        [need("node"), WIRING / "run.mjs", *arguments], capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture
def vector_file(tmp_path: Path) -> Path:
    """Return a file with the vectors."""
    path = tmp_path / "vectors.txt"
    path.write_text(vector_set().text())
    return path


def test_micropython_is_the_pinned_one(tmp_path: Path) -> None:
    """Catches a test against another release, or against a Python that is none."""
    script = tmp_path / "version.py"
    script.write_text("import sys\nprint(sys.implementation[0], sys.implementation[1][:2])\n")

    assert micropython(script) == "micropython (1, 27)\n"


def test_allocates_nothing_in_a_step_and_agrees_in_every_bit(vector_file: Path) -> None:
    """Catches a list, a big integer or a float made in a step, and any difference from CPython."""
    printed = micropython(WIRING / "heap_check.py", vector_file)

    assert printed == f"steps {vector_set().steps} bytes allocated 0 steps different 0\n"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("outputs[ALARM] = 0", "outputs[ALARM] = (1 << 30) - state[STATE] - (1 << 30)"), "MemoryError"),
        (("outputs[ALARM] = 0", "outputs[ALARM] = [0][0]"), "MemoryError"),
        (("outputs[ALARM] = 0", "outputs[ALARM] = 2"), r"different [1-9]"),
    ],
)
def test_the_heap_check_finds_what_it_is_for(
    change: tuple[str, str], says: str, vector_file: Path, tmp_path: Path
) -> None:
    """Catches a check that passes whatever a step does: a value past 2**30, a list, a wrong output."""
    text = (ROOT / "protect" / "outputs.py").read_text()
    assert text.count(change[0]) == 1
    planted = tmp_path / "planted.py"
    planted.write_text(text.replace(*change))
    script = tmp_path / "check.py"
    load = "import sys\nimport planted\nsys.modules['protect.outputs'] = planted\nimport protect\nprotect.outputs = planted\n"
    check = (WIRING / "heap_check.py").read_text()
    guarded = "\ntry:\n    main()\nexcept MemoryError:\n    print('MemoryError')\n"
    script.write_text(load + check.replace("\nmain()\n", guarded))

    assert re.search(says, micropython(script, vector_file, planted))


def test_conforms_over_the_line_protocol() -> None:
    """Catches a port program for boards that does not run on a real MicroPython."""
    micropython(WIRING / "ticks.py")
    with command_link(f"{need('node')} {WIRING / 'run.mjs'}") as link:
        outcome = drive(vector_set(), link)

    assert (outcome.mismatch, outcome.equal["step"]) == (None, vector_set().steps)
    assert outcome.port == "lubetrip micropython"


def test_a_pass_of_the_wiring_allocates_nothing_on_micropython(tmp_path: Path) -> None:
    """Catches a conversion in the wiring that makes big integers or objects at every pass."""
    machine = tmp_path / "machine.py"
    machine.write_text((ROOT / "tests" / "support" / "fake_board.py").read_text().replace("FED.append(1)", "pass"))
    script = tmp_path / "passes.py"
    script.write_text(f"""
import gc
import display
import machine
import wiring
display.changed = lambda shown, results: False  # a line is made when it changes, and may allocate
machine.COUNTS.update({{26: 65535, 27: 30000, 28: 49000}})
controller = wiring.Controller({tuple(middle_settings())}, 0, "{DIGEST}")
done = controller.run_pass(200)
now = before = worst = 0
for number in range(2, 500):
    machine.COUNTS[26] = number * 131
    now = number * 200
    before = gc.mem_alloc()
    done = controller.run_pass(now)
    worst = max(worst, gc.mem_alloc() - before)
print(done, worst)
""")

    assert micropython(script, machine) == "True 0\n"


class Rig:
    """The wiring on the stand-in board, with the signals of its sensors set in engineering units."""

    def __init__(self, modules: dict[str, types.ModuleType]) -> None:
        self.modules = modules
        self.now = 0
        self.controller: object = None
        self.signals(oil_ma=12.0, suction_volts=2.5)
        fake_board.LEVELS.update({RUN: 1, RESET: 1})

    def signals(self, oil_ma: float, suction_volts: float) -> None:
        """Set the currents and voltages at the terminals."""
        fake_board.COUNTS[OIL] = round(oil_ma / 22.0 * 65535)
        fake_board.COUNTS[SUPPLY] = 49000
        fake_board.COUNTS[SUCTION] = round(suction_volts / 5.0 * 49000)

    def start(self, settings: list[int] | None = None) -> "Rig":
        """Power the board up."""
        values = tuple(settings or middle_settings())
        self.controller = self.modules["wiring"].Controller(values, self.now, DIGEST)
        return self

    def passes(self, count: int, milliseconds: int = 200) -> None:
        """Let passes go by; readings move by a hair, as real ones do."""
        for number in range(count):
            self.now = (self.now + milliseconds) % (1 << 30)
            fake_board.COUNTS[SUCTION] += 2 * (number % 2) - 1
            fake_board.COUNTS[OIL] += 2 * (number % 2) - 1
            self.controller.run_pass(self.now)

    @property
    def state(self) -> int:
        """State of the protection."""
        return self.controller.memory[state.STATE]


@pytest.fixture
def rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Rig]:
    """Return the wiring with a good record of a machine at rest."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.syspath_prepend(str(WIRING))
    locks = types.ModuleType("micropython")
    locks.heap_lock = locks.heap_unlock = lambda: None
    monkeypatch.setitem(sys.modules, "micropython", locks)
    monkeypatch.setitem(sys.modules, "machine", fake_board)
    for name in [name for name in MODULES if name != "main"]:
        monkeypatch.delitem(sys.modules, name, raising=False)
    modules = {name: importlib.import_module(name) for name in MODULES if name != "main"}
    for table in (fake_board.COUNTS, fake_board.LEVELS, fake_board.FED):
        table.clear()
    modules["saved"].save(("record_a.bin", "record_b.bin"), 1, middle_settings(), [0] * 16)
    yield Rig(modules)
    for name in MODULES:
        sys.modules.pop(name, None)


@pytest.mark.outside(
    computation="4-20 mA: 3.8 to 20.5 mA is a measurement",
    source="NAMUR NE 43, as four secondary texts tell it",
    status="quoted",
    agreement="to 0.01 mA",
)
@pytest.mark.parametrize(
    ("milliamperes", "kpa"),
    [
        (3.59, None),
        (3.6, None),
        (3.7, None),
        (3.79, None),
        (3.81, -23.75),
        (4.0, 0.0),
        (12.0, 1000.0),
        (20.0, 2000.0),
        (20.49, 2061.25),
        (20.51, None),
        (20.9, None),
        (21.0, None),
        (21.9, None),
        (0.0, None),
    ],
)
def test_a_loop_follows_the_bands_of_ne_43(milliamperes: float, kpa: float | None, rig: Rig) -> None:
    """Catches a broken wire read as an empty vacuum, and a failure current read as full pressure."""
    sensors = rig.modules["sensors"]
    current = sensors.loop_current(round(milliamperes / 22.0 * 65535), 22000)
    pascals = sensors.loop_pressure(current, 0, 2000)

    assert current == pytest.approx(milliamperes * 1000, abs=1)
    assert pascals == (ranges.NO_READING if kpa is None else pytest.approx(kpa * 1000, abs=200))


@pytest.mark.outside(
    computation="0.5-4.5 V ratiometric",
    source="common practice, no source",
    status="none",
    agreement="within 600 Pa of 1600 kPa, the converter's step",
)
@pytest.mark.parametrize("supply_volts", [4.6, 5.0, 5.1])
@pytest.mark.parametrize(
    ("part", "kpa"),
    [
        (0.0, None),
        (0.04, None),
        (0.06, -80.0),
        (0.1, 0.0),
        (0.5, 800.0),
        (0.9, 1600.0),
        (0.94, 1680.0),
        (0.96, None),
        (1.0, None),
    ],
)
def test_a_ratiometric_signal_counts_as_a_part_of_its_supply(
    part: float, kpa: float | None, supply_volts: float, rig: Rig
) -> None:
    """Catches a reading that moves with the supply, and a broken wire or a short read as pressure."""
    supply = round(supply_volts / 5.0 * 49000)
    pascals = rig.modules["sensors"].ratiometric_pressure(round(part * supply), supply, (35000, 50000), 0, 1600)

    assert pascals == (ranges.NO_READING if kpa is None else pytest.approx(kpa * 1000, abs=600))


@pytest.mark.parametrize("supply", [0, 34999, 50001])
def test_a_ratiometric_signal_without_its_supply_is_no_reading(supply: int, rig: Rig) -> None:
    """Catches a division by nothing, and a signal believed while its supply is out."""
    assert rig.modules["sensors"].ratiometric_pressure(20000, supply, (35000, 50000), 0, 1600) == ranges.NO_READING


def test_the_sensors_stay_within_small_integers(rig: Rig) -> None:
    """Catches a product past 2**30 at the largest spans and counts the ranges admit."""
    sensors = rig.modules["sensors"]

    assert 65535 * (32000 >> 1) < 1 << 30
    assert 65535 << sensors.PART_BITS < 1 << 30
    assert max((20500 - 4000 << 11) // 1000, 3891 * 10 - 4096) * 20000 < 1 << 30


def test_the_relay_is_off_until_the_first_step(rig: Rig) -> None:
    """Catches a relay that pulls in at power-up before anything was looked at."""
    fake_board.LEVELS[RELAY] = 1
    rig.start()
    assert fake_board.LEVELS[RELAY] == 0
    rig.passes(1)

    assert (fake_board.LEVELS[RELAY], rig.state) == (1, state.STOPPED)


def test_a_machine_without_oil_is_stopped(rig: Rig) -> None:
    """Catches inputs wired to the wrong place or with the wrong sense: oil at suction pressure stops the machine."""
    rig.signals(oil_ma=4.0 + 16.0 * 800 / 2000, suction_volts=2.5)
    rig.start()
    fake_board.LEVELS[RUN] = 0
    rig.passes(5 * 20)

    assert (rig.state, fake_board.LEVELS[RELAY]) == (state.TRIPPED, 0)
    assert rig.controller.memory[state.CAUSE] == state.OIL_CAUSE


def test_the_alarm_is_on_until_the_first_step_and_while_short_of_oil_stopped_or_in_doubt(rig: Rig) -> None:
    """Catches a lamp that nobody drives, one that is off while the board hangs, and one that waits for the stop."""
    rig.start()
    assert fake_board.LEVELS[ALARM] == 1
    running_machine(rig)
    assert fake_board.LEVELS[ALARM] == 0
    rig.signals(oil_ma=4.0 + 16.0 * 800 / 2000, suction_volts=2.5)
    rig.passes(1)
    assert (fake_board.LEVELS[ALARM], fake_board.LEVELS[RELAY]) == (1, 1)
    rig.passes(5 * 20)
    assert (fake_board.LEVELS[ALARM], fake_board.LEVELS[RELAY]) == (1, 0)
    rig.controller.pins.oil = None
    fake_board.LEVELS[ALARM] = 0
    with pytest.raises(AttributeError):
        rig.passes(1)

    assert (fake_board.LEVELS[ALARM], fake_board.LEVELS[RELAY]) == (1, 0)


def test_the_display_says_why_by_which_sensor_and_by_which_settings(rig: Rig) -> None:
    """Catches a stop on a sensor that names none, words of another code, and a line made anew at each pass."""
    shown: list[str] = []
    rig.modules["board"].show = shown.append
    running_machine(rig)
    fake_board.COUNTS[OIL] = 0
    rig.now += 200
    rig.controller.run_pass(rig.now)
    assert shown[0] == "may run, 0 %, settings 3fa81b0c"
    assert re.fullmatch(r"alarm \(oil missing\), \d %, settings 3fa81b0c", shown[-1])
    for _ in range(5 * 6):
        rig.now += 200
        fake_board.COUNTS[OIL] = 0
        rig.controller.run_pass(rig.now)
    percent = rig.controller.results[outputs.INTEGRAL_PERCENT]
    assert shown[-1] == f"stopped: sensor (oil missing), {percent} %, settings 3fa81b0c"
    count = len(shown)
    for _ in range(3):
        rig.now += 200
        fake_board.COUNTS[SUCTION] += 2
        rig.controller.run_pass(rig.now)
    assert len(shown) <= count + 3
    assert all(before != after for before, after in pairwise(shown))


@pytest.mark.parametrize("code", range(1, 5))
def test_the_display_and_the_host_have_the_same_words_for_a_cause(code: int, rig: Rig) -> None:
    """Catches a cause that was renumbered in one of the two."""
    display, results = rig.modules["display"], [0] * outputs.OUTPUTS_SIZE
    results[outputs.STOP_CAUSE] = code
    assert display.line(results, DIGEST) == f"stopped: {cause_of(code)}, 0 %, settings 3fa81b0c"


def test_a_broken_wire_is_no_reading_and_stops_the_machine(rig: Rig) -> None:
    """Catches a last good value that is held while the wire is open."""
    rig.signals(oil_ma=4.0 + 16.0 * 1000 / 2000, suction_volts=2.5)
    rig.start()
    fake_board.LEVELS[RUN] = 0
    rig.passes(20)
    assert rig.state == state.LUBRICATED
    fake_board.COUNTS[OIL] = 0
    for _ in range(5 * 6):
        rig.now += 200
        fake_board.COUNTS[OIL] = 0
        rig.controller.run_pass(rig.now)

    assert rig.controller.inputs[ranges.OIL_PRESSURE] == ranges.NO_READING
    assert (rig.controller.memory[state.CAUSE], fake_board.LEVELS[RELAY]) == (state.SENSOR_CAUSE | OIL_MISSING, 0)


def test_the_pace_is_kept_and_time_is_a_difference_of_ticks(rig: Rig) -> None:
    """Catches elapsed time counted in passes, and one that breaks where the counter starts again."""
    rig.now = (1 << 30) - 300
    rig.start()
    assert not rig.controller.run_pass(rig.now + 199)
    assert rig.controller.run_pass(rig.now + 250)
    assert not rig.controller.run_pass((rig.now + 449) % (1 << 30))
    assert rig.controller.run_pass((rig.now + 600) % (1 << 30))

    assert rig.controller.inputs[ranges.ELAPSED] == 350


def test_the_watchdog_is_fed_by_whole_passes_only(rig: Rig) -> None:
    """Catches a watchdog fed by a timer or before the work is done."""
    rig.start()
    rig.controller.run_pass(100)
    assert fake_board.FED == []
    rig.passes(3)
    assert len(fake_board.FED) == 3
    del fake_board.COUNTS[OIL]
    with pytest.raises(KeyError):
        rig.controller.run_pass(rig.now + 200)

    assert len(fake_board.FED) == 3
    assert fake_board.LEVELS[RELAY] == 0


def test_a_trip_survives_a_power_loss(rig: Rig) -> None:
    """Catches a machine that is freed by switching its supply off and on."""
    rig.signals(oil_ma=4.0 + 16.0 * 800 / 2000, suction_volts=2.5)
    rig.start()
    fake_board.LEVELS[RUN] = 0
    rig.passes(5 * 20)
    before = list(rig.controller.memory)
    rig.start()

    kept = (state.STATE, state.INTEGRAL, state.TRIPS, state.CAUSE)
    assert [rig.controller.memory[place] for place in kept] == [before[place] for place in kept]
    assert rig.controller.memory[state.RESTART_LEFT] == 5000
    rig.passes(1)
    assert fake_board.LEVELS[RELAY] == 0


def test_without_a_good_record_the_machine_is_locked_out_until_a_reset(rig: Rig) -> None:
    """Catches a fresh or damaged memory that means permission; a reset held from power-up is no reset."""
    Path("record_a.bin").unlink(missing_ok=True)
    Path("record_b.bin").write_bytes(b"")
    fake_board.LEVELS[RESET] = 0
    rig.start()
    rig.passes(5)
    assert (rig.state, fake_board.LEVELS[RELAY]) == (state.LOCKED_OUT, 0)
    fake_board.LEVELS[RESET] = 1
    rig.passes(1)
    fake_board.LEVELS[RESET] = 0
    rig.passes(1)
    assert rig.state == state.LOCKED_OUT  # one sample is no press
    rig.signals(oil_ma=4.0 + 16.0 * 800 / 2000, suction_volts=2.5)  # at rest
    rig.passes(5)
    assert (rig.state, fake_board.LEVELS[RELAY]) == (state.TRIPPED, 0)
    rig.passes(20)

    assert (rig.state, fake_board.LEVELS[RELAY]) == (state.STOPPED, 1)


@pytest.mark.parametrize(
    "damage", [lambda r: r[:-1], lambda r: r + b"\0", lambda r: r[:50] + bytes([r[50] ^ 1]) + r[51:], lambda r: b""]
)
def test_a_damaged_record_gives_way_to_the_one_before(damage, rig: Rig) -> None:
    """Catches a torn write that loses everything, or a record believed without its checksum."""
    module, files, settings = rig.modules["saved"], ("record_a.bin", "record_b.bin"), middle_settings()
    memory = [0] * state.STATE_SIZE
    for number in (6, 7):
        memory[state.TRIPS] = number - 5
        module.save(files, number, settings, memory)
    assert (module.recall(files, settings, memory), memory[state.TRIPS]) == (7, 2)
    last = Path(files[7 % 2])
    last.write_bytes(damage(last.read_bytes()))

    assert (module.recall(files, settings, memory), memory[state.TRIPS]) == (6, 1)


def test_the_record_is_the_same_on_micropython(tmp_path: Path) -> None:
    """Catches a record that a board writes in another way than the reference, and one that it does not take back."""
    settings, memory = middle_settings(), [0] * state.STATE_SIZE
    memory[state.STATE], memory[state.INTEGRAL], memory[state.TRIPS] = state.TRIPPED, 123, 1
    script = tmp_path / "record.py"
    script.write_text(f"""
import binascii
from protect import saved
record, back = bytearray(saved.RECORD_SIZE), [0] * 16
saved.fill(record, 41, {settings}, {memory})
print(binascii.hexlify(record).decode(), saved.recall(back, {settings}, bytearray(88), record), back)
""")
    record, back = bytearray(saved.RECORD_SIZE), [0] * state.STATE_SIZE
    saved.fill(record, 41, settings, memory)
    saved.recall(back, settings, record, record)

    assert micropython(script) == f"{record.hex()} 41 {back}\n"


def running_machine(rig: Rig) -> Rig:
    """Return a board whose machine runs well."""
    rig.signals(oil_ma=4.0 + 16.0 * 1000 / 2000, suction_volts=2.5)
    rig.start()
    fake_board.LEVELS[RUN] = 0
    rig.passes(20)
    assert (rig.state, fake_board.LEVELS[RELAY]) == (state.LUBRICATED, 1)
    return rig


def test_a_bit_of_the_state_that_flips_switches_the_relay_off_in_the_next_pass(rig: Rig) -> None:
    """Catches a board that takes bare steps; the lockout is saved, and a person releases it as any other."""
    machine = running_machine(rig)
    machine.controller.memory[state.GRACE_LEFT] ^= 1 << 25
    machine.passes(1)
    assert (machine.state, fake_board.LEVELS[RELAY]) == (state.LOCKED_OUT, 0)
    files, back = ("record_a.bin", "record_b.bin"), [0] * state.STATE_SIZE
    rig.modules["saved"].recall(files, middle_settings(), back)
    assert back[state.STATE] == state.LOCKED_OUT
    fake_board.LEVELS[RUN], fake_board.LEVELS[RESET] = 1, 0
    rig.signals(oil_ma=4.0 + 16.0 * 800 / 2000, suction_volts=2.5)  # at rest
    machine.passes(30)

    assert (machine.state, fake_board.LEVELS[RELAY]) == (state.STOPPED, 1)


def test_settings_that_change_in_ram_switch_the_relay_off_for_good_and_are_never_saved(rig: Rig) -> None:
    """Catches records that a memory fault has written over both good ones, and a reset that frees the board."""
    machine = running_machine(rig)
    number, content = (
        machine.controller.record_number,
        [Path(name).exists() for name in ("record_a.bin", "record_b.bin")],
    )
    settings = list(machine.controller.settings)
    settings[ranges.CUT_OUT] = 0
    machine.controller.settings = tuple(settings)
    for level in (1, 0, 1, 0):
        fake_board.LEVELS[RESET] = level
        machine.passes(5)
        assert (machine.state, fake_board.LEVELS[RELAY]) == (state.LOCKED_OUT, 0)

    assert machine.controller.record_number == number
    assert [Path(name).exists() for name in ("record_a.bin", "record_b.bin")] == content


def test_a_state_that_changes_after_the_step_is_not_saved(rig: Rig) -> None:
    """Catches a record with a correct checksum over a state that a memory fault has changed."""
    machine = running_machine(rig)
    number = machine.controller.record_number
    machine.controller.memory[state.TRIPS] += 1
    machine.controller.save_when_due(machine.now)

    assert machine.controller.record_number == number


def test_a_fluttering_pressure_does_not_wear_the_flash(rig: Rig) -> None:
    """Catches a record written at every change between healthy and short of oil."""
    rig.start()
    fake_board.LEVELS[RUN] = 0
    first = rig.controller.record_number
    for number in range(40):
        rig.signals(oil_ma=4.0 + 16.0 * (1000 if number % 2 else 840) / 2000, suction_volts=2.5)
        rig.passes(1)

    assert rig.controller.record_number == first


def test_settings_of_another_version_are_refused_with_the_relay_off(rig: Rig) -> None:
    """Catches a board that runs with a table of the wrong length."""
    fake_board.LEVELS[RELAY] = 1
    with pytest.raises(ValueError, match="export them again"):
        rig.start(middle_settings()[:-1])

    assert fake_board.LEVELS[RELAY] == 0


def test_the_tick_difference_crosses_its_wrap(rig: Rig) -> None:
    """Catches a difference that goes negative or far too long where the counter starts again."""
    differences = [d for d in vector_set().differences if d.bits == 30]

    assert any(d.now < d.before for d in differences)
    for d in differences:
        assert rig.modules["ticks"].elapsed_ms(d.now, d.before) == d.elapsed, d


@pytest.mark.outside(
    computation="tick difference",
    source="MicroPython 1.27, `time.ticks_diff`; C's unsigned difference",
    status="consulted",
    agreement="equal up to half a period, where its sign turns",
)
def test_the_tick_difference_is_that_of_micropython_itself(tmp_path: Path) -> None:
    """Catches another period than `time.ticks_ms` has; oracle: its own ticks_diff, which is right up to half a period."""
    script = tmp_path / "ticks_diff.py"
    script.write_text(
        (WIRING / "ticks.py").read_text()
        + "\nfrom time import ticks_add, ticks_diff\nlast = ticks_add(0, -1)\ndifferent = 0\n"
        "for before in (0, 1, 100, last // 2, last - 100, last - 1, last):\n"
        "    for ms in (0, 1, 2, 99, 100, 101, 1000, last // 2):\n"
        "        now = ticks_add(before, ms)\n"
        "        different += elapsed_ms(now, before) != ticks_diff(now, before)\n"
        "print(last, different)\n"
    )

    assert micropython(script) == f"{(1 << 30) - 1} 0\n"
