"""The C port under UBSan and ASan, over the vectors and over random adversarial steps: nothing undefined, every word right."""

import tempfile
from pathlib import Path

import numpy as np

from protect import state
from replay.engine import c_port
from tests.campaigns.differential import CHUNK, Campaign
from tests.gates.port import C_FOLDER, END_OF_CASES, Verdict, build_driver, driver_input, run
from tests.support.toolchain import vector_set

FLAGS = ("-O1", "-g", "-fsanitize=undefined,address", "-fno-sanitize-recover=all")
STEPS = 1_000_000
SEED = 5
NOTHING_MORE = np.array([END_OF_CASES, *[0] * 6], np.int32).tobytes()  # no checks, ticks, records or seals


def random_case(campaign: Campaign, steps: int) -> bytes:
    """Return a case of random settings and steps drawn against the reference, as the driver reads it."""
    values = campaign.draw_settings()
    ours, memory = np.array(values, np.int64), np.zeros(state.STATE_SIZE, np.int64)
    state.power_up(memory, ours)
    start = memory.copy()
    campaign.kernel(campaign.rng, ours, memory, campaign.drawn[:steps], campaign.trail[:steps])
    ticks = np.hstack([campaign.drawn[:steps], campaign.trail[:steps]])
    head = np.concatenate([[steps], ours, start])
    return np.concatenate([head, ticks.ravel()]).astype(np.int32).tobytes()


def judge(source: Path = C_FOLDER / "lubetrip.c", steps: int = STEPS) -> Verdict:
    """Judge a port by what the sanitizers say of it; steps: how many random ones."""
    campaign = Campaign(c_port.load(c_port.build()), SEED)
    with tempfile.TemporaryDirectory() as folder:
        program = build_driver(Path(folder), source, flags=FLAGS)
        vectors = vector_set()
        parts = [driver_input(vectors)]
        parts += [random_case(campaign, CHUNK) + NOTHING_MORE for _ in range(steps // CHUNK)]
        for number, part in enumerate(parts):
            done = run([program], part)
            if done.returncode:
                said = (done.stdout + done.stderr).decode(errors="replace").splitlines()
                told = [line for line in said if "error" in line.lower() or "difference" in line]
                where = f"random case {number}" if number else "the vectors"
                return Verdict(good=False, lines=(f"{where}: {(told or said or ['no word'])[0]}",))
    return Verdict(good=True, lines=(f"nothing found in {vectors.steps} steps of the vectors and {steps} random ones",))
