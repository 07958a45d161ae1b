"""The compiled and the C engine: what the interpreted one does, in every bit at every tick."""

import fcntl
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from protect import outputs, ranges, state
from protect.protection import step
from replay.engine import c_port, compiled, obeying, portable
from replay.ground.refusal import Refusal
from replay.port import adversary
from replay.settings import Settings
from replay.trace import Trace
from tests.support.toolchain import C_FOLDER, ROOT, need

pytestmark = pytest.mark.slow("compiles what only it runs")

# Drawn traces in which much happens: trips of every cause, lockouts, late ticks, hundreds of changes.
SEEDS = (9, 20, 52, 58, 76, 122)
ENGINES = {"compiled": compiled.replay_trace, "c": c_port.replay_trace}
MACHINES = {"compiled": (compiled.machine, np.int64), "c": (c_port.machine, np.int32)}


def adversarial(seed: int, ticks: int) -> tuple[Trace, Settings]:
    """Return a trace whose readings were drawn against the very state they meet, with settings drawn too.

    Times that a trace cannot have (negative or beyond the admitted) are left to the vectors.
    """
    rng, values, mood = [seed], [0] * ranges.SETTINGS_SIZE, [0] * adversary.MOOD_SIZE
    adversary.draw_settings(rng, values)
    adversary.draw_mood(rng, mood)
    memory, inputs, results = [0] * state.STATE_SIZE, [0] * ranges.INPUTS_SIZE, [0] * outputs.OUTPUTS_SIZE
    state.power_up(memory, values)
    inputs[ranges.RUN_FEEDBACK] = 1
    time_ms, rows = 0, []
    for _ in range(ticks):
        wanted = inputs[ranges.RUN_FEEDBACK]
        adversary.draw_inputs(rng, memory, values, mood, inputs)
        wanted = inputs[ranges.RUN_FEEDBACK]
        inputs[ranges.ELAPSED] = min(max(inputs[ranges.ELAPSED], 1), 2_000_000)
        inputs[ranges.RUN_FEEDBACK] = wanted & int(memory[state.STATE] < state.TRIPPED)
        time_ms += inputs[ranges.ELAPSED]
        rows.append((time_ms, wanted, *inputs[2:]))
        step(memory, values, inputs, results)
        inputs[ranges.RUN_FEEDBACK] = wanted
    time, running, reset, oil, suction, crankcase = np.array(rows, np.int64).T
    trace = Trace(
        "drawn", 0.0, time, oil, suction, crankcase, running=running.astype(np.uint8), reset=reset.astype(np.uint8)
    )
    return trace, Settings("drawn", tuple(values), 0.0, None)


def interpreted_trail(trace: Trace, settings: Settings) -> np.ndarray:
    """Return state and outputs of the interpreted engine, tick by tick, int64[n, 25]."""
    machine, rows = portable.Machine(settings), []
    for row in portable.columns_of(trace).T.tolist():
        machine.tick(*row)
        rows.append(machine.memory + machine.results)
    return np.array(rows, np.int64)


@pytest.fixture(scope="session", autouse=True)
def compiled_once() -> None:
    """Let one of several test processes compile and the others find the machine code."""
    trace, settings = adversarial(3, 10)
    compiled.cache_folder().mkdir(parents=True, exist_ok=True)
    with (compiled.cache_folder() / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        compiled.replay_trace(trace, settings)


@pytest.fixture(params=ENGINES)
def replayed(request: pytest.FixtureRequest) -> Callable[[Trace, Settings], tuple[portable.Replay, np.ndarray]]:
    """Return a function that replays a trace with one of the engines: (replay, trail)."""
    if request.param == "c":
        need("cc")

    def run(trace: Trace, settings: Settings) -> tuple[portable.Replay, np.ndarray]:
        machine, word = MACHINES[request.param]
        trail = np.full((len(trace), 25), -7, word)
        machine(settings).take(portable.columns_of(trace), trail)
        return ENGINES[request.param](trace, settings), trail

    return run


@pytest.mark.parametrize("seed", SEEDS)
def test_is_the_interpreted_engine_in_every_bit_at_every_tick(seed: int, replayed) -> None:
    """Catches an integer that behaves otherwise in machine code, and an engine whose machine does not obey."""
    trace, settings = adversarial(seed, 1000)
    replay, trail = replayed(trace, settings)

    assert np.array_equal(trail, interpreted_trail(trace, settings))
    assert replay == portable.replay_trace(trace, settings)


def test_the_drawn_traces_make_all_that_a_replay_tells_of() -> None:
    """Catches traces so tame that engines could differ without being found out."""
    replays = [portable.replay_trace(*adversarial(seed, 1000)) for seed in SEEDS]

    assert {change.after for replay in replays for change in replay.changes} == {0, 1, 2, 3, 4, 5}
    assert {stop.cause & 7 for replay in replays for stop in replay.stops} == {1, 2, 3}
    assert {replay.locked_out for replay in replays} == {True, False}
    assert all(replay.run_ms > 0 for replay in replays)
    assert any(change.net_pa is None for replay in replays for change in replay.changes)
    assert any(change.suction_pa is None for replay in replays for change in replay.changes)


def test_more_changes_than_fit_into_one_call(replayed, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches results that are lost, or told twice, where a kernel returns because its arrays are full."""
    monkeypatch.setattr(portable, "ROOM", 3)
    trace, settings = adversarial(76, 1000)
    replay, trail = replayed(trace, settings)

    assert len(replay.changes) > 9
    assert replay == portable.replay_trace(trace, settings)
    assert np.array_equal(trail, interpreted_trail(trace, settings))


@pytest.mark.parametrize("name", ENGINES)
def test_replays_without_a_trail(name: str) -> None:
    """Catches a kernel that writes a trail nobody gave room for."""
    need("cc")
    trace, settings = adversarial(2, 300)

    assert ENGINES[name](trace, settings) == portable.replay_trace(trace, settings)


def in_a_process(code: str, **environment: str) -> str:
    """Run code in a new process and return what it printed."""
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


REPLAYING = """
from tests.engine.test_compiled import adversarial
from replay.engine import compiled
before = compiled.is_on_disk()
made = []
from replay.engine import native
native.compiled = lambda function: made.append(function)
compiled.replay_trace(*adversarial(3, 200))
print(before, len(made))
"""


def test_machine_code_is_found_again_on_disk() -> None:
    """Catches a cache that compiles anew in every process."""
    assert in_a_process(REPLAYING) == "True 0\n"


def test_an_empty_folder_holds_no_machine_code(tmp_path: Path) -> None:
    """Catches a look at the disk that always says yes."""
    code = "from replay.engine import compiled\nprint(compiled.is_on_disk())"

    assert in_a_process(code, XDG_CACHE_HOME=str(tmp_path)) == "False\n"


def test_a_changed_logic_is_never_met_by_old_machine_code(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a cache that looks only at the file of the kernel and not at `protect`."""
    before = compiled.cache_folder()
    monkeypatch.setattr(compiled, "logic_digest", lambda: "another logic")
    compiled.cache_folder.cache_clear()
    try:
        assert compiled.cache_folder() != before
    finally:
        monkeypatch.undo()
        compiled.cache_folder.cache_clear()


def test_replays_where_nothing_can_be_kept(tmp_path: Path) -> None:
    """Catches a traceback in a home without room for a cache."""
    (tmp_path / "file").write_text("in the way")
    code = """
from tests.engine.test_compiled import adversarial
from replay.engine import c_port
from replay.engine import compiled
assert not compiled.is_on_disk()
print(len(c_port.replay_trace(*adversarial(3, 200)).changes))
"""
    need("cc")

    assert int(in_a_process(code, XDG_CACHE_HOME=str(tmp_path / "file"))) >= 0


def test_importing_the_engines_does_not_import_numba() -> None:
    """Catches a start of the command line that waits for a compiler."""
    code = (
        "import sys, replay.engine.compiled, replay.engine.c_port, replay.cli.firmware\n"
        "print('numba' in sys.modules or 'llvmlite' in sys.modules)"
    )

    assert in_a_process(code) == "False\n"


def test_a_small_library_never_waits_for_a_compiler(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a default that compiles for seconds to save milliseconds."""
    monkeypatch.setattr(compiled, "is_on_disk", lambda: False)
    assert [compiled.pays(ticks) for ticks in (0, 20_000, 1_000_000)] == [False, False, True]
    monkeypatch.setattr(compiled, "is_on_disk", lambda: True)

    assert [compiled.pays(ticks) for ticks in (0, 2_000, 20_000)] == [False, False, True]


def test_another_port_has_another_library(tmp_path: Path) -> None:
    """Catches a replay through an older build of the port than the one at hand."""
    need("cc")
    for name in c_port.PORT:
        (tmp_path / name).write_text((C_FOLDER / name).read_text())
    same = c_port.build(tmp_path)
    (tmp_path / "lubetrip.c").write_text((C_FOLDER / "lubetrip.c").read_text() + "\n/* another */\n")

    assert same.name == c_port.build().name
    assert c_port.build(tmp_path).name != same.name
    assert c_port.port_digest(tmp_path) != c_port.port_digest()


def test_a_compiler_comes_with_its_options(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches CC="gcc -O1" that is looked for as one program, options that are left out, and a build that ignores them."""
    compiler = need("cc")
    for name in c_port.PORT:
        (tmp_path / name).write_text((C_FOLDER / name).read_text())
    plain = c_port.build(tmp_path)
    monkeypatch.setenv("CC", f"{compiler} -O1 -DOF_THIS_TEST='a b'")

    assert c_port.compiler() == [compiler, "-O1", "-DOF_THIS_TEST=a b"]
    assert c_port.build(tmp_path) != plain
    (tmp_path / "my cc").symlink_to(compiler)
    monkeypatch.setenv("CC", str(tmp_path / "my cc"))
    assert c_port.compiler() == [str(tmp_path / "my cc")]
    for wrong, said in (("cc 'half", "cannot be read"), ("cc -no-such-option", "does not compile")):
        monkeypatch.setenv("CC", wrong)
        with pytest.raises(Refusal, match=said):
            c_port.build(tmp_path)


def test_a_damaged_build_of_the_port_is_made_anew(tmp_path: Path) -> None:
    """Catches a half library that ends the process as it is loaded."""
    need("cc")
    for name in c_port.PORT:
        (tmp_path / name).write_text((C_FOLDER / name).read_text())
    library = c_port.build(tmp_path)
    library.write_bytes(library.read_bytes()[:4000])

    assert c_port.load(c_port.build(tmp_path)).lubetrip_first_fault is not None


def test_what_the_c_engine_needs_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a traceback without a compiler, without the sources, or with a port that does not compile."""
    need("cc")
    for name in c_port.PORT:
        (tmp_path / name).write_text("int broken = ;\n")
    with pytest.raises(Refusal, match="does not compile"):
        c_port.build(tmp_path)
    monkeypatch.setenv("CC", "no-such-compiler")
    with pytest.raises(Refusal, match="no C compiler 'no-such-compiler'; accepted: gcc or clang"):
        c_port.build()
    monkeypatch.setattr(c_port, "__file__", str(tmp_path / "replay" / "engine" / "c_port.py"))
    with pytest.raises(Refusal, match="the C engine needs this file"):
        c_port.firmware_folder()


def test_the_compiled_engine_does_without_numba(tmp_path: Path) -> None:
    """Catches a replay that waits for numba, which takes longer to be imported than the logic to be compiled."""
    code = """
import sys
from tests.engine.test_compiled import adversarial
from replay.engine import compiled
compiled.replay_trace(*adversarial(3, 200))
print("numba" in sys.modules)
"""

    assert in_a_process(code, XDG_CACHE_HOME=str(tmp_path)) == "False\n"


def test_neither_triage_nor_an_error_of_a_sensor_waits_for_numba(tmp_path: Path) -> None:
    """Catches a log or a tuning that a user waits seconds for, where the logic is machine code in half a second."""
    code = """
import sys
import numpy as np
from tests.engine.test_compiled import adversarial
from replay.triage.run import Watch
from replay.tuning.disturb import SensorError, disturbed
from replay.engine.portable import columns_of
trace, settings = adversarial(3, 200)
disturbed(trace, {"oil_pressure": SensorError(lag_s=2.0)})
days = np.zeros((1000, 17), np.int64)
list(Watch(settings, fast=True).take(columns_of(trace), days, 0))
print("numba" in sys.modules, days.any())
"""

    assert in_a_process(code, XDG_CACHE_HOME=str(tmp_path)) == "False True\n"


def stepped(inputs: Any, values: Any, memory: Any, results: Any, trail: Any) -> None:
    """Take a step for each row of inputs, as code does that numba compiles around the logic."""
    for tick in range(len(inputs)):
        step(memory, values, inputs[tick], results)
        for place in range(state.STATE_SIZE):
            trail[tick, place] = memory[place]
        for place in range(outputs.OUTPUTS_SIZE):
            trail[tick, state.STATE_SIZE + place] = results[place]


@pytest.mark.parametrize("seed", SEEDS)
def test_a_step_that_numba_calls_is_the_interpreted_one(seed: int) -> None:
    """Catches a lowered function that is called with another array, or another integer, than was given."""
    trace, settings = adversarial(seed, 500)
    inputs = np.ascontiguousarray(portable.columns_of(trace)[obeying.FIRST_INPUT :].T)
    found = []
    from tests.support import by_numba

    for run, words in ((stepped, np.ndarray.tolist), (by_numba.compiled(stepped), np.asarray)):
        values, memory = words(np.array(settings.values)), words(np.zeros(state.STATE_SIZE, np.int64))
        state.power_up(memory, values)
        trail = np.zeros((len(trace), 25), np.int64)
        run(words(inputs), values, memory, words(np.zeros(outputs.OUTPUTS_SIZE, np.int64)), trail)
        found.append(trail)

    assert np.array_equal(*found)
