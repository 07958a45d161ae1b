"""Verdicts: one trace against its label, a library against its acceptance, two scores against each other.

How to add an acceptance rule: in `evidence` if it is judged on a limit, in `unmet` of `scoring` if on a count; its key,
with a default, in `ACCEPTANCE` of replay/settings/file.py.
"""

from replay.score.scoring import Score, Totals, Verdict, judge, score, score_library

__all__ = ["Score", "Totals", "Verdict", "judge", "score", "score_library"]
