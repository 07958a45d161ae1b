"""A score as JUnit XML, the form that test runners and build servers read.

One case for each trace, failed where the logic did not do what the label says and a rule of the acceptance is broken by
such traces, with the timeline as its message; what the acceptance admits is reported in a case that passes, unless
`strict` is asked for. One case for the acceptance as a whole. No times and no host stand in it: the same library, logic
and settings give the same bytes.
"""

from collections.abc import Mapping
from xml.etree import ElementTree as ET

from replay.display.course import timeline_table
from replay.display.score import score_view, summary, warnings
from replay.display.terminal import plain, view
from replay.drawing.svg import clean
from replay.engine import Engine, Replay
from replay.ground.wording import words
from replay.library import Entry, Library, label_text
from replay.score import Score, Verdict, evidence
from replay.score.judge_digest import judge_digest
from replay.score.verdict import TOLD, UNDECIDED, WRONG
from replay.score.windows import LATE, NO_STOP, STOOD, Found
from replay.settings import Settings
from replay.trace import Trace, read_trace

ADMITTED = "wrong by its label, but within the acceptance"


def junit(score: Score, library: Library, plots: Mapping[str, str] | None = None, *, strict: bool = False) -> str:
    """Return a score as JUnit XML; `plots` names the plot of a trace, by its id, where there is one.

    strict: a trace fails too that is wrong by its label and admitted by the acceptance.
    """
    verdicts = {verdict.id: verdict for verdict in (*score.verdicts, *score.undecided)}
    cases = [_case(score, entry, verdicts[entry.id], plots or {}, strict=strict) for entry in library.entries]
    cases.append(_acceptance(score))
    suite = ET.Element("testsuite", name="lubetrip", tests=str(len(cases)))
    suite.set("failures", str(sum(case.find("failure") is not None for case in cases)))
    suite.set("errors", "0")
    suite.set("skipped", str(sum(case.find("skipped") is not None for case in cases)))
    suite.extend(cases)
    root = ET.Element("testsuites")
    root.append(suite)
    ET.indent(root)
    return '<?xml version="1.0" encoding="utf-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def properties(settings: Settings, engine: Engine, entry: Entry, verdict: Verdict) -> dict[str, str]:
    """Return what a case carries beside its outcome."""
    margin = {} if verdict.margin_s is None else {"margin_s": f"{verdict.margin_s:g}"}
    if len(verdict.windows) > 1:
        margin["windows"] = "; ".join(map(_window, verdict.windows))
    if entry.upsets and verdict.upsets is not None:
        met = verdict.upsets
        margin["upsets"] = f"{met.stopped} with a stop, {met.rode_through} ridden through, {met.stood} stood over"
    return {
        "settings_digest": settings.digest,
        "logic_digest": engine.digest,
        "engine": engine.name,
        "label": label_text(entry),
        "outcome": verdict.outcome,
        "origin": entry.origin,
        **margin,
    }


def timeline(trace: Trace, replay: Replay, settings: Settings) -> str:
    """Return the decisions over a trace as text."""
    return plain(view(timeline_table(trace, replay, settings)))


def complaint(entry: Entry, verdict: Verdict) -> str:
    """Return in one line what should have happened and what did."""
    stop = "no stop" if verdict.first_trip_s is None else f"first stop at {verdict.first_trip_s:g} s"
    told = [f"{words(verdict.outcome)}: {label_text(entry)}, {stop}"]
    if len(verdict.windows) > 1:
        told += map(_window, verdict.windows)
    else:
        told += [LATE[window.late] for window in verdict.windows if window.late not in (None, NO_STOP)]
    return "; ".join(told)


def unjudged(verdict: Verdict) -> str:
    """Return why a trace is neither right nor wrong, "" where it is one of them."""
    if verdict.outcome == UNDECIDED:
        return "undecided: judged neither way"
    if verdict.outcome == TOLD:
        return "recorded in another trace too, and judged there"
    if verdict.outcome == STOOD:
        return "an earlier stop held the machine still for the whole of the window: neither hit nor missed"
    if verdict.doubt:
        return f"in doubt: {verdict.doubt}"
    return "" if verdict.windows or verdict.run_hours else "the machine does not run: nothing to ride through"


def _window(window: Found) -> str:
    """Return what became of one of several windows."""
    late = f", {LATE[window.late]}" if window.late else ""
    stop = "" if window.stop_s is None else f", stop at {window.stop_s:g} s"
    return f"from {window.earliest_s:g} s {words(window.outcome)}{stop}{late}"


def _case(score: Score, entry: Entry, verdict: Verdict, plots: Mapping[str, str], *, strict: bool) -> ET.Element:
    stated = {"plot": plots[entry.id]} if entry.id in plots else {}
    admitted = verdict.outcome in WRONG and not strict and score.admits(verdict.outcome)
    stated |= {"admitted": ADMITTED} if admitted else {}
    case = _stated(entry.family, entry.id, properties(score.settings, score.engine, entry, verdict) | stated)
    if verdict.outcome in WRONG:
        trace = read_trace(entry.path)
        told = timeline(trace, score.engine.replay(trace, score.settings), score.settings)
        if admitted:
            said = f"{complaint(entry, verdict)}; {ADMITTED}\n{told}"
            ET.SubElement(case, "system-out").text = clean("\n" + said)
        else:
            _fail(case, verdict.outcome, complaint(entry, verdict), told)
    elif why := unjudged(verdict):
        ET.SubElement(case, "skipped", message=why)
    return case


def _acceptance(score: Score) -> ET.Element:
    digests = {"settings_digest": score.settings.digest, "library_digest": score.library_digest}
    digests["judge_digest"] = judge_digest()
    told = {name: dict(summary(score))[name] for name in ("upsets", "hits by cause")}
    doubts = {"warnings": "; ".join(warnings(score))} if warnings(score) else {}
    case = _stated("lubetrip", "acceptance", digests | told | doubts)
    if score.verdict != evidence.MET:
        _fail(case, score.verdict, f"acceptance {score.verdict}", plain(score_view(score)))
    return case


def _stated(family: str, name: str, stated: dict[str, str]) -> ET.Element:
    case = ET.Element("testcase", classname=clean(family), name=clean(name))
    listed = ET.SubElement(case, "properties")
    for key, value in stated.items():
        ET.SubElement(listed, "property", name=key, value=clean(value))
    return case


def _fail(case: ET.Element, kind: str, message: str, text: str) -> None:
    ET.SubElement(case, "failure", type=kind, message=clean(message)).text = clean("\n" + text)
