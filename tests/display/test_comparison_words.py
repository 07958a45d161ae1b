"""What a comparison says, word by word, of changes made up by hand."""

from typing import Any

import pytest

from replay.display.comparison import lines, parts, settings_changed, verdict
from replay.ground.shown import BAR, US
from replay.score.comparison import Comparison, Discordant, Margins


def row(identity: str, outcome: str, stop: float | None = None, margin: float | None = None) -> dict[str, Any]:
    """Return a trace of a report."""
    return {"id": identity, "outcome": outcome, "first_trip_s": stop, "margin_s": margin}


def comparison(**values: Any) -> Comparison:
    """Return a comparison in which nothing differs unless it says otherwise."""
    given: dict[str, Any] = {
        "changed": (), "undecided": (), "same": 7, "missed": Discordant(1, 2, 0.12345), "nuisance": Discordant(3, 4, 1.0),
        "nuisance_trips": (5, 6), "margins": Margins(0, None, None, 0.95), "verdicts": ("met", "not met"), "worse": (),
    }  # fmt: skip
    return Comparison(**given | values)


def test_counts_stand_under_the_report_that_they_are_of() -> None:
    """Catches A and B exchanged in any line, and a mean without its sign."""
    assert lines(comparison()) == [
        "missed only by A 1, only by B 2; McNemar exact p = 0.123",
        "nuisance or early only in A 3, only in B 4; McNemar exact p = 1",
        "nuisance trips in all: A 5, B 6",
        "margin, mean change over 0 faults that both hit: no pairs",
        "  bootstrap interval, 95 % sure: -",
        "acceptance: A met, B not met",
    ]
    told = lines(comparison(margins=Margins(3, -2.25, (-4.0, 1.5), 0.9)))
    assert told[3:5] == [
        "margin, mean change over 3 faults that both hit: -2.2 s",
        "  bootstrap interval, 90 % sure: -4.0 s to +1.5 s",
    ]


@pytest.mark.parametrize(
    ("judges", "said"), [((None, None), False), (("a", "a"), False), (("a", "b"), True), ((None, "b"), True)]
)
def test_other_judges_and_looser_rules_are_said(judges: tuple[str | None, str | None], said: bool) -> None:
    """Catches a change of the judge that is taken for one of the settings."""
    told = lines(comparison(judges=judges, loosened=("max_missed: 0, 3",)))

    assert ("A and B were judged by DIFFERENT VERSIONS OF THE JUDGE, which may explain a change" in told) is said
    assert "B's ACCEPTANCE IS LOOSER than A's: max_missed: 0, 3 (A's, then B's)" in told


def test_b_is_worse_or_it_is_not() -> None:
    """Catches a worse B that reads as one that is not."""
    assert verdict(comparison()) == "B is not worse."
    assert verdict(comparison(worse=("one", "two"))) == "B IS WORSE: one; two"


CHANGED = (
    (row("margin", "hit", 70.0, 30.0), row("margin", "hit", 75.0, 25.0)),
    (row("better", "missed"), row("better", "hit", 60.0, 40.0)),
    (row("nuisance", "rode_through"), row("nuisance", "nuisance", 12.0)),
    (row("lost", "hit", 70.0, 30.0), row("lost", "missed", 130.0, -30.0)),
    (row("early", "hit", 70.0, 30.0), row("early", "early", 5.0)),
)


def test_the_gravest_change_stands_on_top() -> None:
    """Catches a fault that is lost under changed margins, a change told as B to A, and a margin change of one hit."""
    settings, table = parts(comparison(changed=CHANGED))

    assert settings == "the same settings"
    assert not isinstance(table, str)
    assert table.caption == "Changed; the other 7 did not"
    assert [found[0] for found in table.rows] == ["lost", "early", "nuisance", "better", "margin"]
    told = {found[0]: found[1:] for found in table.rows}
    assert told["margin"] == ("hit", "70.0", "75.0", "-5.0")
    assert told["better"] == ("missed -> hit", "-", "60.0", "-")
    assert told["lost"] == ("hit -> missed", "70.0", "130.0", "-60.0")


def test_nothing_that_changed_is_said_to_be_nothing() -> None:
    """Catches an empty table, and undecided traces that are told as judged."""
    undecided = ((row("u", "undecided", 1.0), row("u", "undecided", 2.0)),)
    told = parts(comparison(undecided=undecided))

    assert told[:2] == ["the same settings", "nothing changed on 7 judged traces"]
    assert getattr(told[2], "caption", "") == "Undecided, judged neither way"
    assert len(parts(comparison())) == 2


def test_settings_are_told_by_their_key_with_both_values() -> None:
    """Catches A's value under B, a pressure in other units than were asked for, and the altitude of the wrong site."""
    settings = (("cut_out", 62_000.0, 68_947.6), ("trip_delay", 90_000.0, None), ("altitude_m", 0.0, 1000.0))
    rows = settings_changed(comparison(settings=settings, units=US)).rows
    assert [found[0].split(" ")[0] for found in rows][-1] == "site.altitude"
    assert "9.0 psi" in rows[0][1] and "10.0 psi" in rows[0][2]
    assert rows[1][1].startswith("90") and rows[1][2] == "-"
    assert [str(cell).split(" ")[0] for cell in rows[2][1:]] == ["0", "1000"]
    bars = settings_changed(comparison(settings=settings[:1], units=BAR)).rows
    assert "0.62 bar" in bars[0][1]
    vacuum = (("vacuum", 84_000.0, 84_000.5),)
    low, high = settings_changed(comparison(settings=vacuum, units=US, altitudes=(0.0, 2000.0))).rows[0][1:]
    assert "inHg" in low and low != high
