"""Proof of the C port: Frama-C WP on the contracts of firmware_ref/proof/, every goal, with CVC4 and Z3.

The sources are those that ship; their loop contracts and assertions are comments.
Short loops are unrolled to their fixed lengths, and the three flag helpers are put
in line, so that their masks are constants. Overflow, shifts, narrowing and every
access are goals of their own (RTE). Unsigned numbers may wrap, as C defines it; in
lubetrip.c a negative number made unsigned is a goal too, in the sums over words it
is meant.

Functions with several arrays are looked at in Caveat, a memory model in which the
arrays do not overlap. Its premises and those of the contracts contradict each other
for every function so looked at: it takes an array handed over for a single word.
Whatever is shown there is hollow, and the gate says so and stays shut. To be proved
in Typed instead, with the separation that the contracts name. What the reading of the table relies on, `rows`
and `last_trip` of `move_once`, is proved with the table's content; the rest of it
follows from those two, whatever the content.
"""

import os
import re
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from tests.gates.port import C_FOLDER, FUNCTION, PORT, Verdict, run, tool

PROOF = C_FOLDER.parent / "proof"
TIMEOUT = 20  # seconds for one prover on one goal
HELPERS = ("flags_of", "set_flags", "clear_flags")
OPTIONS = (
    "-machdep", "x86_64", "-warn-signed-downcast", "-wp", "-wp-rte", "-wp-prover", "tip,z3,cvc4",
    "-wp-auto", "wp:bitshift,wp:bitrange,wp:bitwised,wp:split",
)  # fmt: skip
CONTRACTED = {
    "lubetrip.c": "contracted.c",
    "lubetrip_saved.c": "contracted_saved.c",
    "lubetrip_seal.c": "contracted_seal.c",
}
# 22: the settings, the longest loop that is unrolled
STEP = ("-ulevel", "22", "-warn-unsigned-downcast", "-inline-calls", ",".join(HELPERS))
BYTES = ("-ulevel", "10")


@dataclass(frozen=True)
class Pass:
    """Functions of a file that are proved together: memory model, options, and how the contracts are read."""

    file: str
    model: str
    options: tuple[str, ...]
    functions: tuple[str, ...]
    opened: bool = False  # with the definitions that the contracts leave open to all others


PASSES = (
    Pass("lubetrip.c", "Typed", STEP, (
        "within", "whole_part", "fraction_part", "counted_elapsed", "plausible", "stuck_part", "accumulate", "past_grace",
        "regain_grace", "run_down", "reload_guard", "oil_bits", "apply_effect", "write_outputs", "lubetrip_elapsed_ms",
    )),
    Pass("lubetrip.c", "Typed+Caveat", STEP, (
        "observe", "weight", "update_integral", "update_fault_time", "update_timers", "follow_reset", "follow_spell", "evaluate",
        "settle", "percent", "lubetrip_first_fault", "lubetrip_derive", "lubetrip_power_up", "lubetrip_step",
    )),
    Pass("lubetrip.c", "Typed+Caveat", (*STEP, "-wp-prop=rows,last_trip"), ("move_once",)),
    Pass("lubetrip.c", "Typed+Caveat", (*STEP, "-wp-prop=-rows,-last_trip", "-wp-no-init-const"), ("move_once",)),
    Pass("lubetrip_saved.c", "Typed", BYTES, ("bits_at",), opened=True),
    Pass("lubetrip_saved.c", "Typed", BYTES, (
        "add_byte", "put_word", "word_at", "crc_of_content", "crc_of_settings", "is_sealed", "within", "is_possible", "is_newer",
        "put_back", "lubetrip_write_record", "lubetrip_record_number", "lubetrip_next_number",
    )),
    Pass("lubetrip_saved.c", "Typed+Caveat", BYTES, ("lubetrip_recall",)),
    Pass("lubetrip_seal.c", "Typed", BYTES, ("plain_sum", "weighted_sum"), opened=True),
    Pass("lubetrip_seal.c", "Typed", BYTES, (
        "seal", "holds", "withhold", "lubetrip_seal_state", "lubetrip_seal_settings", "lubetrip_seals_hold",
    )),
    Pass("lubetrip_seal.c", "Typed+Caveat", BYTES, ("lubetrip_sealed_step",)),
)  # fmt: skip


def proved(folder: Path, part: Pass, contracts: Path = PROOF) -> str:
    """Return what Frama-C prints of a pass over the port in a folder, with the contracts of another."""
    for name in ("cvc4", "z3"):
        tool(name)
    with tempfile.TemporaryDirectory() as work:
        environment = {**os.environ, "WHY3CONFIG": str(Path(work) / "why3.conf")}
        run([tool("why3"), "config", "detect"], env=environment)
        for path in contracts.iterdir():
            shutil.copy(path, work)
        headers = f"-cpp-extra-args=-I{work} -I{folder} -I{C_FOLDER}{' -DOPENED' if part.opened else ''}"
        command = [tool("frama-c", "frama-c-base"), headers, *OPTIONS, *part.options, "-wp-model", part.model]
        command += ["-wp-fct", ",".join(part.functions), "-wp-timeout", str(TIMEOUT)]
        command += ["-wp-session", str(Path(work) / "session"), str(Path(work) / CONTRACTED[part.file])]
        return run(command, cwd=work, env=environment).stdout.decode()


def hollow(folder: Path, part: Pass, name: str) -> bool:
    """Tell whether nothing is shown of a function, since its premises contradict each other.

    Then every promise is proved, so the one that cannot hold is asked for, of this function alone: false.
    """
    with tempfile.TemporaryDirectory() as work:
        contracts = Path(work)
        for path in PROOF.iterdir():
            promise = rf"\*/(?=\n[\w ]*\b{name}\([^;]*\);)"
            (contracts / path.name).write_text(re.sub(promise, r" ensures nonsense: \\false; */", path.read_text()))
        options = (*(option for option in part.options if "-wp-prop" not in option), "-wp-prop=nonsense")
        said = proved(folder, replace(part, functions=(name,), options=options), contracts)
    return re.search(r"Proved goals: +0 / 1", said) is None


def functions_of(name: str) -> set[str]:
    """Return the functions that a file of the port defines."""
    return {function[1] for function in FUNCTION.finditer((C_FOLDER / name).read_text())}


def chosen(functions: Sequence[str]) -> list[Pass]:
    """Return the passes over these functions, over all without any."""
    parts = [replace(p, functions=tuple(f for f in p.functions if not functions or f in functions)) for p in PASSES]
    return [part for part in parts if part.functions]


def judge(folder: Path = C_FOLDER, functions: Sequence[str] = ()) -> Verdict:
    """Judge the port in a folder by its proof, every goal of it; functions: the goals of those alone."""
    in_passes = {(part.file, name) for part in PASSES for name in part.functions}
    defined = {(name, function) for name in PORT for function in functions_of(name) if function not in HELPERS}
    lines = [f"no proof of {function} in {name}" for name, function in sorted(defined - in_passes)]
    done = wanted = 0
    for part in chosen(functions):
        said = proved(folder, part)
        counted = re.search(r"Proved goals: +(\d+) / (\d+)", said)
        if counted is None:
            return Verdict(good=False, lines=(*said.splitlines()[-5:], "Frama-C came to no end"))
        lines += [f"not proved: {goal}" for goal in re.findall(r"\[Failed\] Goal typed_(\w+)", said)]
        lines += [f"hollow: {name} in {part.file}" for name in part.functions if hollow(folder, part, name)]
        done, wanted = done + int(counted[1]), wanted + int(counted[2])
    good = not lines and 0 < wanted == done
    return Verdict(good, (*lines, f"{done} of {wanted} goals proved in {len(in_passes)} functions"))
