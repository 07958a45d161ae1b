"""Lubrication protection: the logic a machine runs.

Read the modules in the order in which one step uses them:

    ranges        what may be set and what may be read: index, unit, least, most
    settings      rules between settings; values worked out once from them
    state         what the logic remembers between two steps
    signals       1. raw readings -> net oil pressure and one credible bit, or which channel is in doubt and why
    integral      2. the time-delay integral
    timers        3. restart delay, trip memory, sensor fault time
    conditions    4. everything that decides, as named bits
    table         5. the cause-and-effect table: the only place with transitions
    outputs       6. run permission, alarm, cause of the stop, integral in percent
    protection    the step that calls them in this order: 1 to 4 measure, 5 and 6 decide

and beside the step, what a controller keeps of it:

    saved         the record that survives a power loss
    seal          a step that stops the machine when state or settings in RAM were changed from outside

House rules of this package: it imports nothing but itself; integers only; no
allocation in a step; every intermediate value below 2**30 in magnitude (the
small integers of a 32-bit MicroPython, and well inside a signed 32-bit C
integer), in the check and the derivation of settings too; no clock: elapsed time
is an argument. Bounds stand beside the arithmetic and follow from the table in
`ranges`. The name of a constant means one thing in the whole package, and an
expression means the same under the precedence of Python and of C.

This is not a certified safety device and never the only protection of a
machine or of the people near it.
"""
