"""Coverage of the C port by the vectors and what is held of records and seals beside them: lines, branches and MC/DC, all of each (clang-19)."""

import json
import os
import tempfile
from pathlib import Path
from typing import Any

from tests.gates.port import C_FOLDER, PORT, Verdict, build_driver, run, tool, vector_input

MEASURES = ("functions", "lines", "regions", "branches", "mcdc")
FLAGS = ("-O0", "-fprofile-instr-generate", "-fcoverage-mapping", "-fcoverage-mcdc")
# Questions that have one answer in every run, by their line, and why they are asked.
ONE_WAY = {
    "if (flags_of(state, LT_FLAG_RESETS) != LT_FLAG_RESETS) {": "a full count has refused the reset before; kept in its bits"
}
LINE, TAKEN, NOT_TAKEN = 0, 4, 5  # places in what llvm-cov says of a branch


def measured(source: Path, words: bytes) -> dict[str, dict[str, dict[str, int]]]:
    """Run the cases through a port; return file -> measure -> count and covered, as llvm-cov sums them up."""
    compiler = tool("clang-19", "clang-19 with libclang-rt-19-dev")
    merge, cover = tool("llvm-profdata-19", "llvm-19"), tool("llvm-cov-19", "llvm-19")
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        program = build_driver(work, source, compiler, FLAGS)
        raw, profile = work / "run.profraw", work / "run.profdata"
        run([program], words, env={**os.environ, "LLVM_PROFILE_FILE": str(raw)})
        run([merge, "merge", "-o", profile, raw])
        said = run([cover, "export", "-instr-profile", profile, program]).stdout
        found = {
            Path(file["filename"]).name: without_one_way(file, Path(file["filename"]).read_text(encoding="utf-8"))
            for file in json.loads(said)["data"][0]["files"]
        }
    if missing := set(PORT) - found.keys():
        raise SystemExit(f"llvm-cov says nothing of {', '.join(sorted(missing))}")
    return {name: found[name] for name in PORT}


def without_one_way(file: dict[str, Any], text: str) -> dict[str, dict[str, int]]:
    """Return what is summed up of a file, less the ways that nothing can take."""
    summary, lines = dict(file["summary"]), text.splitlines()
    asked = [branch for branch in file["branches"] if lines[branch[LINE] - 1].strip() in ONE_WAY]
    never = sum(branch[TAKEN] > 0 and branch[NOT_TAKEN] == 0 for branch in asked)
    summary["branches"] = {**summary["branches"], "count": summary["branches"]["count"] - never}
    return summary


def judge(source: Path = C_FOLDER / "lubetrip.c", words: bytes | None = None) -> Verdict:
    """Judge the vectors by what of a port they run through; words: other cases than the vectors."""
    files = measured(source, vector_input() if words is None else words)
    parts = [(file, name, found[name]) for file, found in files.items() for name in MEASURES]
    lines = [f"{file}: {name} {m['covered']} of {m['count']}" for file, name, m in parts if m["covered"] < m["count"]]
    sums = {name: [sum(f[name][key] for f in files.values()) for key in ("covered", "count")] for name in MEASURES}
    told = ", ".join(f"{name} {covered} of {count}" for name, (covered, count) in sums.items())
    return Verdict(not lines and all(count > 0 for _, count in sums.values()), (*lines, told))
