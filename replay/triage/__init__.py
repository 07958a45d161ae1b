"""What a field log reveals, without a label.

Was this machine run starved, how often, how long, and was it loaded again before
the oil film was back?

    logs        which files are logs of which machine
    kernel      one row after the other: what happened, measured by the parts of `protect`
    events      starved spells, vacuum running and sensor doubts, as they are told
    run         logs through kernel and replay, block by block, in bounded memory
    exposure    events per 1000 run hours, with exact limits
    ranking     which machine to open first, and why
    report      all machines, the one to open first on top; JSON and CSV

A log is what really happened: nobody obeyed the protection in it. So the
measuring parts of `protect` run over it as it was recorded, without the table
that would have stopped the machine; beside them runs the whole logic, obeyed, as
in any other replay, and says what the settings would have done.

How to add an event: places and a `follow_...` function in `kernel`, which runs interpreted and compiled and restates
no rule: it reads the bits and flags that `protect` sets. Its words go into `events`, its rank into `ranking`.
"""
