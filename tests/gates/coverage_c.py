"""Coverage of the C port by the conformance vectors alone: lines, branches and MC/DC, all of each (clang-19)."""

import json
import os
import tempfile
from pathlib import Path

from tests.gates.port import C_FOLDER, Verdict, build_driver, run, tool, vector_input

MEASURES = ("functions", "lines", "regions", "branches", "mcdc")
FLAGS = ("-O0", "-fprofile-instr-generate", "-fcoverage-mapping", "-fcoverage-mcdc")


def measured(source: Path, words: bytes) -> dict[str, dict[str, int]]:
    """Run the cases through a port; return measure -> count and covered, as llvm-cov sums them up for that file."""
    compiler = tool("clang-19", "clang-19 with libclang-rt-19-dev")
    merge, cover = tool("llvm-profdata-19", "llvm-19"), tool("llvm-cov-19", "llvm-19")
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        program = build_driver(work, source, compiler, FLAGS)
        raw, profile = work / "run.profraw", work / "run.profdata"
        run([program], words, env={**os.environ, "LLVM_PROFILE_FILE": str(raw)})
        run([merge, "merge", "-o", profile, raw])
        said = run([cover, "export", "-summary-only", "-instr-profile", profile, program]).stdout
    for file in json.loads(said)["data"][0]["files"]:
        if file["filename"].endswith("/lubetrip.c"):
            return dict(file["summary"])
    raise SystemExit("llvm-cov says nothing of lubetrip.c")


def judge(source: Path = C_FOLDER / "lubetrip.c", words: bytes | None = None) -> Verdict:
    """Judge the vectors by what of a port they run through; words: other cases than the vectors."""
    summary = measured(source, vector_input() if words is None else words)
    lines = tuple(f"{name}: {summary[name]['covered']} of {summary[name]['count']}" for name in MEASURES)
    return Verdict(all(0 < summary[name]["covered"] == summary[name]["count"] for name in MEASURES), lines)
