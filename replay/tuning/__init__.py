"""Tuning: many candidate settings judged over many traces, and what the chosen ones withstand.

From what a user asks for to what is left behind:

    run         all of `tune` and of `tolerances`, as one function each
    tune        library, base settings and what is varied -> the Pareto set and the chosen settings
    vary        what is varied, and the candidates that follow
    search      spaces too large for a grid
    judge       every candidate over every trace, judged as a score is
    holdout     the library in two parts, fresh: a library nobody has tuned on
    pareto      which candidates are not beaten, which of them is chosen
    robustness  how far each lever may move (levers, disturb), tolerance: all of them at once
    results     the folder that a run leaves

What a candidate does over a trace comes from `replay.sweep`, which says at its head why that is exact.

How to add something that may move (`tolerances`): a kind of `Lever` in `levers`, what it does to a trace in `disturb`,
and a panel of the tornado plot in replay/drawing/plot_tuning.py. What a candidate is judged by stands in `judge`.
"""
