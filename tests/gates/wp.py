"""Proof of the C port: Frama-C WP on the contracts of firmware_ref/proof/contracts.h, every goal, with CVC4 and Z3.

The source is the one that ships. Loops are unrolled to their fixed lengths, and
the three flag helpers are put in line, so that their masks are constants.
Overflow, shifts, narrowing and every access are goals of their own (RTE).

Functions with several arrays are proved in a memory model in which the arrays do
not overlap, as the header wants it. `move_once`, the reading of the table, is not
proved: unrolled over its 22 rows its goals did not come out in minutes. What its
contract says is taken as given by its caller; for the table of the reference the
tests stand which put every combination of state and bits through it, for the
port the vectors and the differential campaign.
"""

import os
import re
import shutil
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tests.gates.port import C_FOLDER, Verdict, run, tool

PROOF = C_FOLDER.parent / "proof"
UNROLLED = 22  # rows of the table, the longest loop
TIMEOUT = 10  # seconds for one prover on one goal
HELPERS = "flags_of,set_flags,clear_flags"
OPTIONS = (
    "-machdep", "x86_64", "-ulevel", str(UNROLLED), "-warn-signed-downcast", "-warn-unsigned-downcast",
    "-inline-calls", HELPERS, "-wp", "-wp-rte", "-wp-prover", "tip,z3,cvc4", "-wp-auto", "wp:bitshift,wp:bitrange,wp:bitwised,wp:split",
)  # fmt: skip
# Memory model -> the functions that are proved in it.
MODELS = {
    "Typed": (
        "within", "whole_part", "fraction_part", "counted_elapsed", "plausible", "stuck_part", "accumulate", "past_grace",
        "regain_grace", "run_down", "reload_guard", "oil_bits", "apply_effect", "write_outputs", "lubetrip_elapsed_ms",
    ),
    "Typed+Caveat": (
        "observe", "weight", "update_integral", "update_fault_time", "update_timers", "follow_reset", "follow_spell", "evaluate",
        "settle", "percent", "lubetrip_first_fault", "lubetrip_derive", "lubetrip_power_up", "lubetrip_step",
    ),
}  # fmt: skip
NOT_PROVED = ("move_once",)


def proved(source: Path, model: str, functions: Sequence[str]) -> str:
    """Return what Frama-C prints of these functions of a port."""
    for name in ("cvc4", "z3"):
        tool(name)
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "WHY3CONFIG": str(Path(folder) / "why3.conf")}
        run([tool("why3"), "config", "detect"], env=environment)
        for name in ("contracts.h", "contracted.c"):
            shutil.copy(PROOF / name, Path(folder) / name)
        command = [
            tool("frama-c", "frama-c-base"),
            f"-cpp-extra-args=-I{folder} -I{source.parent} -I{C_FOLDER}",
            *OPTIONS,
        ]
        command += ["-wp-model", model, "-wp-fct", ",".join(functions), "-wp-timeout", str(TIMEOUT)]
        command += ["-wp-session", str(Path(folder) / "session"), str(Path(folder) / "contracted.c")]
        return run(command, cwd=folder, env=environment).stdout.decode()


def judge(source: Path = C_FOLDER / "lubetrip.c", functions: Sequence[str] = ()) -> Verdict:
    """Judge a port by its proof, every goal of it; functions: the goals of those alone."""
    lines, done, wanted = [], 0, 0
    for model, members in MODELS.items():
        chosen = [name for name in members if not functions or name in functions]
        said = proved(source, model, chosen) if chosen else "Proved goals: 0 / 0"
        counted = re.search(r"Proved goals: +(\d+) / (\d+)", said)
        if counted is None:
            return Verdict(good=False, lines=(*said.splitlines()[-5:], "Frama-C came to no end"))
        lines += [f"not proved: {goal}" for goal in re.findall(r"\[Failed\] Goal typed_(\w+)", said)]
        done, wanted = done + int(counted[1]), wanted + int(counted[2])
    told = f"{done} of {wanted} goals proved; functions without proof: {', '.join(NOT_PROVED)}"
    return Verdict(0 < wanted == done, (*lines, told))
