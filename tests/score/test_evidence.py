"""The verdict: counts are judged without `confidence`, and the limits of what is to be expected with it."""

import json
import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from replay.display import score as shown
from replay.display.score import reasons
from replay.score import Verdict, evidence
from replay.score.comparison import LOOSER
from replay.score.judgement import Failure, judgement
from replay.score.scoring import Score
from replay.settings import Acceptance, read_settings
from replay.settings.file import KEYS, OPTIONAL
from tests.conftest import SETTINGS, entry
from tests.support.command import lubetrip


def acceptance(**asked: float) -> Acceptance:
    """Return rules that any counts meet, and the evidence that is asked for."""
    lenient = {"max_nuisance_per_1000h": 1e6, "max_missed_probability": 0.9999, "min_margin_coverage": 0.0001}
    return Acceptance(max_missed=1000, min_margin_s=30.0, confidence=0.95, **(lenient | asked))  # type: ignore[arg-type]


def verdicts(hits: int, missed: int, nuisance: int, hours: float, margin: float = 50.0, **asked: float) -> list[str]:
    """Return the verdicts on missed trips, nuisance and margin."""
    return [
        claim.verdict
        for claim in evidence.claims([margin] * hits, missed, nuisance, hours, (0, 0), acceptance(**asked))
    ]


NOT_JUDGED, MET, NOT_MET, NOT_ENOUGH = evidence.NOT_JUDGED, evidence.MET, evidence.NOT_MET, evidence.NOT_ENOUGH


@pytest.mark.parametrize(
    ("hits", "missed", "verdict"),
    [
        (59, 0, MET),  # 95/95
        (58, 0, NOT_ENOUGH),
        (0, 0, NOT_ENOUGH),
        (92, 1, MET),
        (91, 1, NOT_ENOUGH),
        (19, 1, NOT_ENOUGH),  # 5 % seen
        (18, 1, NOT_MET),  # more than 5 % seen
    ],
)
def test_missed_trip_probability_is_judged_on_its_limit(hits: int, missed: int, verdict: str) -> None:
    """Catches a point value that passes for evidence, and a limit that fails what it cannot refute."""
    assert verdicts(hits, missed, 0, 0.0, max_missed_probability=0.05)[0] == verdict


@pytest.mark.parametrize(
    ("nuisance", "hours", "verdict"),
    [
        (0, 599.2, MET),  # 2.9957 / 5 per 1000 h
        (0, 599.1, NOT_ENOUGH),
        (0, 0.0, NOT_ENOUGH),
        (1, 948.8, MET),  # 4.7439
        (1, 948.7, NOT_ENOUGH),
        (1, 200.0, NOT_ENOUGH),
        (1, 199.0, NOT_MET),
    ],
)
def test_nuisance_rate_is_judged_on_its_limit(nuisance: int, hours: float, verdict: str) -> None:
    """Catches ten quiet hours that show one stop in a year."""
    assert verdicts(0, 0, nuisance, hours, max_nuisance_per_1000h=5.0)[1] == verdict


@pytest.mark.parametrize(
    ("hits", "missed", "margin", "verdict"),
    [(29, 0, 30.0, MET), (28, 0, 30.0, NOT_ENOUGH), (29, 0, 29.9, NOT_MET), (46, 1, 30.0, MET)],
)
def test_margin_coverage_is_judged_on_its_limit(hits: int, missed: int, margin: float, verdict: str) -> None:
    """Catches a missed trace left out of the margins, where it would spoil them most."""
    assert verdicts(hits, missed, 0, 0.0, margin, min_margin_coverage=0.9)[2] == verdict


def test_a_limit_that_is_just_what_is_wanted_is_met_and_a_value_seen_that_is_does_not_break_it() -> None:
    """Catches 'below' where 'at most' is meant, on either of the two that a claim is judged by."""
    claim = evidence.Claim("rule", 1, 10, 0.1, (0.0, 0.4), 0.4, wanted=0.4)

    assert claim.verdict == MET
    assert replace(claim, wanted=math.nextafter(0.4, 0.0)).verdict == NOT_ENOUGH
    assert replace(claim, wanted=0.1).verdict == NOT_ENOUGH
    assert replace(claim, wanted=math.nextafter(0.1, 0.0)).verdict == NOT_MET
    assert replace(claim, point=None, wanted=0.1).verdict == NOT_ENOUGH


def test_without_confidence_no_limit_is_judged_and_all_are_shown_all_the_same() -> None:
    """Catches a library of a few traces that fails for a rule nobody wrote, and one whose limits nobody sees."""
    counts = Acceptance(max_missed=0, max_nuisance_per_1000h=0.0, min_margin_s=30.0)
    found = evidence.claims([50.0], 0, 0, 1.0, (0, 0), counts)
    assert [claim.verdict for claim in found] == [NOT_JUDGED] * 4
    assert found[0].upper == pytest.approx(0.95)
    assert found[1].upper == pytest.approx(2995.7, abs=0.1)


@pytest.mark.parametrize(("hits", "missed"), [(0, 0), (10, 0), (40, 1), (100, 4)])
def test_what_it_would_take_is_enough_and_not_more(hits: int, missed: int) -> None:
    """Catches advice after which the verdict is still the same."""
    rule = acceptance(max_missed_probability=0.05, max_nuisance_per_1000h=300.0)
    trips, rate, *_ = evidence.claims([50.0] * hits, missed, missed, 5.0, (0, 0), rule)
    assert trips.further is not None and rate.further is not None
    more = hits + int(trips.further)
    assert verdicts(more, missed, 0, 0.0, max_missed_probability=0.05)[0] == MET
    assert verdicts(more - 1, missed, 0, 0.0, max_missed_probability=0.05)[0] == NOT_ENOUGH
    assert verdicts(0, 0, missed, 5.0 + rate.further + 1e-6, max_nuisance_per_1000h=300.0)[1] == MET


def test_a_claim_can_be_recomputed_from_its_row() -> None:
    """Catches a row that JSON cannot hold, or that lacks a number of the calculation: 1 - 0.05^(1/10)."""
    row = evidence.claims([50.0] * 10, 0, 0, 0.0, (0, 0), acceptance(max_missed_probability=0.05))[0].as_json()
    assert (row["events"], row["of"], row["wanted"], row["further"]) == (0, 10, 0.05, 49)
    assert row["upper"] == pytest.approx(1 - 0.05 ** (1 / 10), rel=1e-8)
    assert json.loads(json.dumps(evidence.rate("x", 0, 0.0, 0.95).as_json(), allow_nan=False))["upper"] is None


def test_margin_that_nine_in_ten_leave() -> None:
    """Catches the worst margin of a small sample sold as a limit, and a missed trace that does not lower it."""
    margins = list(map(float, range(1, 47)))
    assert evidence.margin_limit(margins[:28], 0, 0.95) is None
    assert evidence.margin_limit(margins[:29], 0, 0.95) == 1.0
    assert evidence.margin_limit(margins, 0, 0.95) == 2.0
    assert evidence.margin_limit(margins[1:], 1, 0.95) == 2.0
    assert evidence.margin_limit(margins[2:], 2, 0.95) is None
    assert math.isfinite(evidence.margin_limit(margins * 9, 3, 0.95) or math.inf)


RULES = {
    "max_missed_probability": "0.05",
    "max_nuisance_per_1000h": "300.0",
    "min_margin_coverage": "0.9",
}
LENIENT = {"max_missed_probability": "0.9999", "max_nuisance_per_1000h": "1000000", "min_margin_coverage": "0.0001"}


def with_confidence(**asked: str) -> str:
    """Return a settings file that judges limits, each so lenient that anything meets it but those asked for."""
    rules = "".join(f"{key} = {value}\n" for key, value in (LENIENT | asked).items())
    return SETTINGS.replace("max_nuisance_per_1000h = 0.0\n", "confidence = 0.95\n") + rules


@pytest.mark.parametrize("key", RULES)
def test_a_small_library_exits_3_and_says_what_it_would_take(key: str, library: Path) -> None:
    """Catches a lack of evidence that a script takes for met, or for not met."""
    (library / "settings.toml").write_text(with_confidence(**{key: RULES[key]}), encoding="utf-8")
    done = lubetrip("score", library)
    report = json.loads(lubetrip("score", library, "--json", "-").stdout)["acceptance"]

    assert (done.returncode, done.stderr) == (3, "")
    assert "Acceptance: NOT ENOUGH EVIDENCE" in done.stdout
    assert f"{key}: shown at most" in done.stdout
    assert (report["verdict"], report["met"], report["failures"]) == ("not enough evidence", False, [])
    lacking = report["lacking"][0]
    assert lacking["rule"] == key
    assert (
        lacking["further"]
        == {
            "max_missed_probability": 58,
            "max_nuisance_per_1000h": pytest.approx(8.985774, abs=1e-6),
            "min_margin_coverage": 28,
        }[key]
    )


def test_a_broken_rule_weighs_more_than_missing_evidence(library: Path) -> None:
    """Catches a library that misses a trip and is told to be merely too small."""
    text = with_confidence(max_nuisance_per_1000h="300").replace('"60 s"\nfloor_weight', '"30 min"\nfloor_weight')
    (library / "settings.toml").write_text(text, encoding="utf-8")
    done = lubetrip("score", library)

    assert done.returncode == 1
    assert "Acceptance: NOT MET" in done.stdout


@pytest.mark.parametrize(
    ("key", "value"),
    [("max_missed_probability", "0"), ("max_missed_probability", '"5 %"'), ("min_margin_coverage", "1.0")],
)
def test_evidence_that_nothing_could_show_is_refused(key: str, value: str, tmp_path: Path) -> None:
    """Catches a rule that no library of any size can meet."""
    (tmp_path / "s.toml").write_text(with_confidence(**{key: value}), encoding="utf-8")
    done = lubetrip("score", tmp_path, "--settings", tmp_path / "s.toml")
    assert (done.returncode, done.stdout) == (2, "")
    with pytest.raises(Exception, match=f"acceptance. {key}"):
        read_settings(tmp_path / "s.toml")


def test_confidence_alone_asks_for_nine_faults_in_ten(library: Path) -> None:
    """Catches a confidence that judges nothing by itself: one fault without a miss, 28 more to show it at 95 %."""
    (library / "settings.toml").write_text(SETTINGS + "confidence = 0.95\n", encoding="utf-8")
    done = lubetrip("score", library, "--json", "-")
    lacking = {claim["rule"]: claim for claim in json.loads(done.stdout)["acceptance"]["lacking"]}

    assert done.returncode == 3
    assert {rule: claim["wanted"] for rule, claim in lacking.items()} == {
        "max_missed_probability": 0.1,
        "max_nuisance_per_1000h": 0.0,
        "min_margin_coverage": pytest.approx(0.1),
    }
    further = [claim["further"] for claim in lacking.values()]
    assert further == [28, None, 28]  # and no number of hours shows a rate of nothing


def test_a_rate_beyond_the_rule_is_one_failure() -> None:
    """Catches a rule that is named twice because its count and its limit both break it."""
    stop = Verdict(
        "x", "f", "nuisance", 1.0, "oil", None, None, run_hours=1.0, trips=1, locked_out=False, nuisance_trips=1
    )
    rule = acceptance(max_nuisance_per_1000h=5.0)

    assert [failure.rule for failure in judgement([stop], rule).failures] == ["max_nuisance_per_1000h"]


@pytest.mark.parametrize("key", ["max_missed_probability", "min_margin_coverage"])
def test_a_limit_without_its_confidence_is_refused(key: str, tmp_path: Path) -> None:
    """Catches a wish for evidence that is read and never judged."""
    (tmp_path / "s.toml").write_text(SETTINGS + f"{key} = 0.5\n", encoding="utf-8")
    with pytest.raises(Exception, match=f"{key} = 0.5: asks for a limit, and no confidence is stated"):
        read_settings(tmp_path / "s.toml")


def test_the_report_shows_the_plain_logics_and_the_least_known_family(library: Path) -> None:
    """Catches settings praised for what never stopping, or a timer, does as well."""
    report = json.loads(lubetrip("score", library, "--json", "-").stdout)
    counts = {
        name: (row["hit"], row["missed"], row["early"], row["nuisance_trips"])
        for name, row in report["baselines"].items()
    }
    assert counts == {
        "never stops": (0, 1, 0, 0),
        "always stops, at the start": (0, 0, 1, 2),
        "plain timer": (1, 0, 0, 0),
    }
    assert report["baselines"]["never stops"]["rules_not_met"] == ["max_missed"]
    assert report["evidence"]["worst_family"] == "starved"
    shown = lubetrip("score", library).stdout
    assert all(name in shown for name in counts)
    assert "Family with the fewest faults to go by: starved, missed 0 of 1, at most 95 %." in shown


def test_the_least_known_family_is_that_of_the_highest_limit() -> None:
    """Catches the family with the most missed named, where of another one hardly anything is known.

    One missed of three is at most 86.5 % at 95 %; none of one is at most 95 %; and a family without faults has no limit.
    """
    claims = {"few": evidence.chance("m", 0, 1, 0.95), "many": evidence.chance("m", 1, 3, 0.95)}
    claims["ride"] = evidence.chance("m", 0, 0, 0.95)
    families = {name: SimpleNamespace(must_trip=int(claim.of)) for name, claim in claims.items()}
    told = SimpleNamespace(families=families, family_claims={name: (claim,) for name, claim in claims.items()})

    assert Score.worst_family.fget(told) == "few"  # type: ignore[attr-defined]


MIX = "[mix]\nstarved = 3.0\nrare = 1.0\n"


def with_mix(library: Path, mix: str) -> None:
    """Add a second family of faults, of which the one trace is missed, and a mix."""
    path = library / "library.toml"
    late = entry("late", "must_trip = { earliest_s = 0.0, deadline_s = 1.0 }", "rare", file="fault.csv")
    path.write_text(path.read_text() + late + mix)


def test_families_are_weighted_by_the_stated_mix(library: Path) -> None:
    """Catches an unweighted mean; and a bound that does not hold for both families at once.

    One hit of one at weight 3/4 and one missed of one at 1/4: seen 1/4, at most
    3/4 (1 - 0.025) + 1/4 at 95 %.
    """
    with_mix(library, MIX)
    report = json.loads(lubetrip("score", library, "--json", "-").stdout)["evidence"]

    assert report["mix"]["missed_probability"] == 0.25
    assert report["mix"]["upper"] == pytest.approx(0.75 * 0.975 + 0.25)
    assert report["worst_family"] == "rare"
    assert "Missed in the stated mix of faults: 25 %" in lubetrip("score", library).stdout


def test_a_mix_counts_windows_as_the_totals_do(library: Path) -> None:
    """Catches a trace of two faults that is one trial of its family, and missed as a whole where one of them is."""
    with_mix(library, MIX)
    path = library / "library.toml"
    one = "{ earliest_s = 0.0, deadline_s = 1.0 }"
    path.write_text(path.read_text().replace(one, f"[{one}, {{ earliest_s = 102.0, deadline_s = 250.0 }}]"))
    report = json.loads(lubetrip("score", library, "--json", "-").stdout)

    assert (report["totals"]["hit"], report["totals"]["missed"]) == (2, 1)
    assert report["evidence"]["mix"]["missed_probability"] == 0.25 * 0.5


@pytest.mark.parametrize(
    "mix", ["[mix]\nstarved = 3.0\n", MIX + "steady = 1.0\n", MIX.replace("3.0", "0"), MIX.replace("3.0", '"much"')]
)
def test_a_mix_that_leaves_a_family_out_is_refused(mix: str, library: Path) -> None:
    """Catches the worst family hidden by not mentioning it."""
    with_mix(library, mix)
    done = lubetrip("score", library)
    assert (done.returncode, done.stdout) == (2, "")
    assert "[mix]" in done.stderr


def test_every_rule_of_acceptance_has_its_words_and_its_side() -> None:
    """Catches a rule that was added and breaks the report of the first library that does not meet it."""
    rules = set(KEYS["acceptance"]) - {"confidence"}

    assert set(shown.RULES) - {evidence.OUTSIDE} == rules
    assert {key.removesuffix("_s") for key in LOOSER} - {"confidence"} == rules


def test_keys_that_ask_for_evidence_stand_in_the_guide() -> None:
    """Catches a rule that only the source knows."""
    readme = (Path(__file__).parents[2] / "replay" / "guides" / "acceptance.md").read_text(encoding="utf-8")
    for key in OPTIONAL["acceptance"]:
        assert f"`{key}`" in readme


def test_a_rule_without_hours_reads_as_a_sentence() -> None:
    """Catches "inf", and a reason that is set where the number of the sentence belongs."""
    found: Any = SimpleNamespace(failures=[Failure("max_nuisance_per_1000h", 450.0, None)])

    assert reasons(found) == [
        "max_nuisance_per_1000h: nuisance trips per 1000 h, no hours to count them over, wanted at most 450"
    ]


def test_a_rule_that_nothing_was_judged_on_is_told_once_with_what_it_needs() -> None:
    """Catches "at most no limit", and one rule in two lines of a verdict, one of which says what would help."""
    claim = evidence.Claim("max_nuisance_per_1000h", 0, 0.0, None, (0.0, math.inf), math.inf, 700.0, 4.3)
    found: Any = SimpleNamespace(failures=(), lacking=(claim,), unjudged=("max_nuisance_per_1000h", "min_margin"))

    told = reasons(found)
    assert len(told) == 2
    assert told[0].startswith("min_margin: no fault was hit")
    assert told[1].startswith(
        "max_nuisance_per_1000h: no limit shown for nuisance trips per 1000 h, wanted at most 700; needs another 4.3 h"
    )
