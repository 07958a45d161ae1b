"""Proof of the C port: Frama-C WP on the contracts of firmware_ref/proof/, every goal, with CVC4 and Z3.

The sources are those that ship; their loop contracts and assertions are comments. Overflow,
shifts and narrowing are goals of their own (RTE). Unsigned numbers may wrap, as C
defines it; in lubetrip.c a negative number made unsigned is a goal too, in the sums over
words and bytes it is meant.

In lubetrip.c each function is looked at twice. *Memory*, in the plain model (Typed): every access lies in its array,
and each caller hands over arrays that are there and do not overlap. *Content*, in the model for arrays that do not
overlap (Caveat), without the words on memory: it takes an array handed over for one
word, and would contradict them. Of the saved record and the seal most is proved *whole*, in Typed.

Premises that contradict each other prove anything. So each function is asked
for `false` as well, in each model it is proved in: one that proves it is named as hollow and shuts the gate.

What a prover said of a goal is kept in the project's cache, by WP itself, under the digest of all that the prover was given
and its version. So after a change only goals that it changed are proved anew.
"""

import os
import re
import shutil
import sysconfig
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from replay.ground.cache import project_cache
from tests.gates.port import C_FOLDER, FUNCTION, PORT, Verdict, run, tool

PROOF = C_FOLDER.parent / "proof"
TIMEOUT = 10  # seconds for one prover on one goal
CONTRACTED = {
    "lubetrip.c": "contracted.c",
    "lubetrip_saved.c": "contracted_saved.c",
    "lubetrip_seal.c": "contracted_seal.c",
}
RTE = ("-machdep", "x86_64", "-warn-signed-downcast", "-ulevel", "10")
WORDS = (*RTE, "-warn-unsigned-downcast", "-ulevel", "22")  # 22: more than the longest loop that is unrolled
NO_TABLES = "-wp-no-init-const"  # without what stands in the tables of the port
BITS = ("-wp-auto", "wp:bitshift,wp:bitrange,wp:bitwised,wp:split")
BRANCHES = ("-wp-auto", "wp:split", "-wp-auto-depth", "14", "-wp-auto-width", "1000", "-wp-timeout", "1")
ROWS = ("-wp-auto", "wp:range")


@dataclass(frozen=True)
class Pass:
    """Functions of a file that are proved together: what of them, and how the provers go about it."""

    file: str
    aspect: str  # content, memory or whole
    functions: tuple[str, ...]
    tactics: tuple[str, ...] = ()
    kernel: tuple[str, ...] = WORDS
    provers: str = "tip,cvc4,z3"
    opened: bool = False  # with the definitions that the contracts leave open to all others

    def command(self, source: Path, headers: str, session: Path) -> list[str]:
        """Return how Frama-C is called; source: the port behind its contracts."""
        content, memory = self.aspect == "content", self.aspect == "memory"
        defines = " -DCONTENT" * content + " -DOPENED" * self.opened
        rte = ("-rte", "-rte-no-mem") if content else ("-rte",)
        command = [tool("frama-c", "frama-c-base"), f"-cpp-extra-args={headers}{defines}", *self.kernel]
        command += [*rte, str(source), "-then", "-wp", "-wp-fct", ",".join(self.functions)]
        command += ["-wp-prover", self.provers, "-wp-timeout", str(TIMEOUT)]
        command += ["-wp-model", "Typed+Caveat" if content else "Typed", *self.tactics]
        command += ["-wp-prop=mem_access,memory"] if memory else []
        command += ["-wp-par", str(os.cpu_count() or 1), "-wp-session", str(session)]
        cache = project_cache() / "proof"
        cache.mkdir(exist_ok=True)
        return [*command, "-wp-cache", "update", "-wp-cache-dir", str(cache)]


PASSES = (
    Pass("lubetrip.c", "content", (
        "within", "counted_elapsed", "plausible", "stuck_part", "settled_part", "accumulate", "past_grace", "regain_grace",
        "update_integral", "run_down", "follow_spell", "reload_guard", "settle", "percent",
        "write_outputs", "lubetrip_power_up", "lubetrip_elapsed_ms", "lubetrip_step",
    ), (NO_TABLES,)),
    Pass("lubetrip.c", "content", (
        "flags_of", "set_flags", "clear_flags", "whole_part", "fraction_part", "weight", "update_fault_time", "lubetrip_derive",
        "channel_doubt", "channel_doubts", "apply_reset", "apply_effect",
    ), (NO_TABLES, *BITS)),
    Pass("lubetrip.c", "content", ("observe", "follow_reset", "pressure_bits", "memory_bits", "evaluate"), (NO_TABLES, *BRANCHES), provers="tip,cvc4"),
    Pass("lubetrip.c", "content", ("lubetrip_first_fault",)),
    Pass("lubetrip.c", "content", ("move_once",), ("-wp-split", "-wp-timeout", "60", *ROWS)),
    Pass("lubetrip.c", "content", ("update_timers",), (NO_TABLES, "-wp-split")),
    Pass("lubetrip_saved.c", "whole", ("bits_at",), BITS, RTE, opened=True),
    Pass("lubetrip_saved.c", "whole", (
        "add_byte", "put_word", "word_at", "crc_of_content", "crc_of_settings", "is_sealed", "within", "is_possible", "is_newer",
        "put_back", "lubetrip_write_record", "lubetrip_record_number", "lubetrip_next_number",
    ), BITS, RTE),
    Pass("lubetrip_saved.c", "content", ("lubetrip_recall",), (NO_TABLES, "-wp-split"), RTE),
    Pass("lubetrip_seal.c", "whole", ("plain_sum", "weighted_sum"), BITS, RTE, opened=True),
    Pass("lubetrip_seal.c", "whole", (
        "seal", "holds", "withhold", "lubetrip_seal_state", "lubetrip_seal_settings", "lubetrip_seals_hold",
    ), BITS, RTE),
    Pass("lubetrip_seal.c", "content", ("lubetrip_sealed_step",), (NO_TABLES,), RTE),
)  # fmt: skip
# Of what was proved without its memory; where the tables of ranges and relations say which setting is read, with them.
MEMORY = tuple(
    Pass(part.file, "memory", part.functions, (NO_TABLES,) if part.tactics else ROWS, part.kernel)
    for part in PASSES
    if part.aspect == "content"
)


def outside_python() -> str:
    """Return the search path without the commands of this Python.

    Its package of z3 brings a newer one than Why3 can talk to: every goal that is handed to it fails.
    """
    scripts = sysconfig.get_path("scripts")
    return os.pathsep.join(place for place in os.environ["PATH"].split(os.pathsep) if place != scripts)


def proved(folder: Path, part: Pass, contracts: Path = PROOF) -> str:
    """Return what Frama-C prints of a pass over the port in a folder, with the contracts of another."""
    search = outside_python()
    for name in ("cvc4", "z3"):
        if shutil.which(name, path=search) is None:
            raise SystemExit(f"{name} is not installed (Debian package {name})")
    with tempfile.TemporaryDirectory() as place:
        work = Path(place)
        environment = {**os.environ, "PATH": search, "WHY3CONFIG": str(work / "why3.conf")}
        run([tool("why3"), "config", "detect"], env=environment)
        for path in contracts.iterdir():
            shutil.copy(path, work)
        command = part.command(work / CONTRACTED[part.file], f"-I{work} -I{folder} -I{C_FOLDER}", work / "session")
        return run(command, cwd=work, env=environment).stdout.decode()


def hollow(folder: Path, part: Pass) -> list[str]:
    """Return the functions of a pass of which nothing is shown, since their premises contradict each other.

    Then every promise is proved, so the one that cannot hold is asked for: false. As a check, so that no caller relies on it.
    """
    with tempfile.TemporaryDirectory() as work:
        contracts = Path(work)
        promise = rf"\*/(?=\n[\w ]*\b(?:{'|'.join(part.functions)})\([^;]*\);)"
        for path in PROOF.iterdir():
            asked = re.sub(promise, r" check ensures nonsense: \\false; */", path.read_text())
            (contracts / path.name).write_text(asked)
        tactics = (*(t for t in part.tactics if t == NO_TABLES), "-wp-timeout", "3", "-wp-prop=nonsense")
        aspect = "whole" if part.aspect == "memory" else part.aspect
        said = proved(folder, replace(part, tactics=tactics, aspect=aspect), contracts)
    unproved = set(re.findall(r"Goal typed_(?:caveat_)?(\w+)_check_ensures_nonsense\b(?! : Valid)", said))
    return [name for name in part.functions if name not in unproved]


def functions_of(name: str) -> set[str]:
    """Return the functions that a file of the port defines."""
    return {function[1] for function in FUNCTION.finditer((C_FOLDER / name).read_text())}


def chosen(functions: Sequence[str]) -> list[Pass]:
    """Return the passes over these functions, over all without any."""
    both = (*PASSES, *MEMORY)
    parts = [replace(p, functions=tuple(f for f in p.functions if not functions or f in functions)) for p in both]
    return [part for part in parts if part.functions]


def judge(folder: Path = C_FOLDER, functions: Sequence[str] = ()) -> Verdict:
    """Judge the port in a folder by its proof, every goal of it; functions: the goals of those alone."""
    in_passes = {(part.file, name) for part in PASSES for name in part.functions}
    defined = {(name, function) for name in PORT for function in functions_of(name)}
    lines = [f"no proof of {function} in {name}" for name, function in sorted(defined - in_passes)]
    done = wanted = 0
    for part in chosen(functions):
        said = proved(folder, part)
        if "No goal generated" in said:  # of the memory of functions that touch none
            continue
        counted = re.search(r"Proved goals: +(\d+) / (\d+)", said)
        if counted is None:
            return Verdict(good=False, lines=(*said.splitlines()[-5:], "Frama-C came to no end"))
        lines += [f"not proved: {goal}" for goal in re.findall(r"Goal (typed_\w+)\b(?! : Valid)", said)]
        lines += [f"hollow: {name} in {part.file} ({part.aspect})" for name in hollow(folder, part)]
        done, wanted = done + int(counted[1]), wanted + int(counted[2])
    good = not lines and 0 < wanted == done
    return Verdict(good, (*lines, f"{done} of {wanted} goals proved in {len(in_passes)} functions"))
