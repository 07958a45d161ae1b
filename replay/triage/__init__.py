"""What a field log reveals, without a label.

Was this machine run starved, how often, how long, and was it loaded again before
the oil film was back?

    logs        which files are logs of which machine, and when each began
    clock       the time of a log on the wall
    kernel      one row after the other: what happened, measured by the parts of `protect`
    events      starved spells, vacuum running and sensor doubts, as they are told
    days        sums of each day: hours, net oil pressure running and at rest, starts
    run         logs joined in time, through kernel and replay, block by block, in bounded memory
    overlaps    times that two files tell, and whether they agree
    obeyed      the settings obeyed, with somebody who resets lockouts
    findings    what that shows of one machine
    namesakes   one machine under two names, whose readings count twice
    trends      a figure of each day, up or down over the weeks
    doubts      what keeps a machine from being called healthy though it was never short of oil
    exposure    events per 1000 run hours, with exact limits
    ranking     which machine to open first, and why
    report      all machines, the one to open first on top; JSON and CSV

A log is what really happened: nobody obeyed the protection in it. So the
measuring parts of `protect` run over it as it was recorded, without the table
that would have stopped the machine; beside them runs the whole logic, obeyed, as
in any other replay, and says what the settings would have done.

How to add an event: places and a `follow_...` function in `kernel`, which runs interpreted and compiled and restates
no rule: it reads the bits and flags that `protect` sets. Its words go into `events`, its rank into `ranking`.
How to add a doubt: a function of `doubts`, its limit beside the others; its words tell the figure.
"""
