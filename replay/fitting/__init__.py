"""A machine file fitted to measured runs: what their pressures tell of the machine, as an ensemble, not a point.

    runs       a trace as a fit takes it; what teaches nothing, or is another machine's, is refused
    belonging  a log of another machine, or logs of two, known by what no machine of the file makes
    unknowns   what may move, and in which range
    driven     the model made to follow the suction that was read: no valve course need be known
    members    each a fit of its own to its own draw (randomised maximum likelihood)
    holdout    runs that the fit has not seen, predicted and scored
    inspections    what was found in the machine bounds how long its films last
    words      what the model cannot make of a run
    fitting    all of it in one function: `fit_machine`
    sensitivity    how many labels hang on what is assumed still
    measuring      what one more measurement would settle

How to add an unknown: its name in `unknowns`; if it is no figure of a machine file yet, a row in `replay.machine.keys`.
"""

from replay.fitting.fitting import Fit, fit_machine
from replay.fitting.sensitivity import Sensitivity, find_sensitivity

__all__ = ["Fit", "Sensitivity", "find_sensitivity", "fit_machine"]
