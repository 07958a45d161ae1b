"""Verdicts: one trace against its label, a library against its acceptance, two scores against each other."""

from replay.score.scoring import Score, Totals, Verdict, judge, score, score_library

__all__ = ["Score", "Totals", "Verdict", "judge", "score", "score_library"]
