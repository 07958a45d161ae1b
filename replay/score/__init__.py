"""Verdicts: one trace against its label, a library against its acceptance, two scores against each other.

What may stand in a library twice, and what a verdict cannot rest on, is found by `once` before anything is judged.

How to add an acceptance rule: in `evidence` if it is judged on a limit, in `unmet` of `judgement` if on a count; its
key, with a default, in `ACCEPTANCE`, `OPTIONAL` and `Acceptance` of replay/settings/file.py; in UNJUDGED of `judgement`
what is missing where nothing was there to judge it on, in BREAKING which outcomes break it, and in replay/page/judge.js
the same; in LOOSER of `comparison` which way it is looser; its words in RULES of replay/display/score.py,
tests/pictures.py and replay/guides/acceptance.md.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from replay.score.judgement import Totals
    from replay.score.scoring import Score, score, score_library
    from replay.score.verdict import Verdict, judge

__all__ = ["Score", "Totals", "Verdict", "judge", "score", "score_library"]


def __getattr__(name: str) -> Any:
    """Give out a name of `scoring`, for which two reports are not to wait that are only compared."""
    if name not in __all__:
        raise AttributeError(f"module 'replay.score' has no attribute '{name}'")
    from replay.score import scoring

    return getattr(scoring, name)
