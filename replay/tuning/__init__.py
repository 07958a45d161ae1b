"""Tuning: many candidate settings judged over many traces, and what the chosen ones withstand.

From what a user asks for to what is left behind:

    run         all of `tune` and of `tolerances`, as one function each
    tune        library, base settings and what is varied -> the Pareto set and the chosen settings
    vary        what is varied, and the candidates that follow
    search      spaces too large for a grid
    judge       every candidate over every trace, judged as a score is
    holdout     the library in two parts, fresh: a library nobody has tuned on
    pareto      which candidates are not beaten, which of them is chosen
    robustness  how far each lever may move (levers, amounts, disturb), tolerance: all of them at once
    results     the folder that a run leaves

The exact judge of many candidates over one trace, from the outside in:

    sweep       what others call: prepare a trace, arrange candidates, sweep
    blocks      what is summed up of a trace once, for all candidates
    passage     the way of candidates through a trace, and why it is exact
    leaps       long ticks, calm_run: ticks that move integral and timers only
    calm        where the cause-and-effect table leads, read from the table
    way         what is carried along, and the single step
"""
