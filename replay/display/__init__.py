"""What is told of results, once: tables of words and numbers (`table`) and sentences; nothing is counted here.

`terminal` shows them on a terminal; the report and notebooks show the same tables as HTML (`replay.report.templates`).
"""
