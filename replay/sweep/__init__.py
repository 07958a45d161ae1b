"""Many candidate settings over one trace at once, each with the very result of a replay of its own.

    candidates = arrange(settings_of_a_grid)        # once for all traces
    replays = sweep(prepare(trace), candidates)     # prepare once for each trace

Stops, run time, late ticks and lockout come out as `replay.engine.replay_trace` gives them, in every bit.
A trace of any length may come in pieces to a `Course`, which tells state and integral of one candidate on the way.
This is the door: other rooms import nothing else of this package.

Two things save the work. **Leaps**: most of a trace changes nothing, or only amounts that run by time alone;
such stretches are taken as one. **Lanes**: candidates that differ in the trip delay alone do the same until the
shortest delay is over, so they go together.

              healthy           short of oil   healthy            short of oil
    240 s   [== long tick ==]sfffffffffffffffs[== long tick ==]sfffffffffffffff TRIP s[====]
    120 s   ....................................................... > ffff TRIP s[=========]
     60 s   ..................... > ffff TRIP s[= long tick =]sffffffff TRIP s[============]

    [==]  long tick: many ticks, one step       ...  in the lane of 240 s, at no cost of its own
    f     fast tick: what the integral needs    >    branches off, with a copy of the state
    s     step: one tick, all of it

The words, and where each is at home:

    block         64 ticks, summed up once for all candidates; a span is 64 blocks       blocks
    table facts   what the cause-and-effect table does when little is known              table_facts
    batch         candidates with the same sensor settings: the same blocks are sound    outcomes
    group         candidates of a batch that differ in the trip delay alone              outcomes
    leader        the one of a group with the greatest trip delay                        walk
    lane          the state with which a leader, or who has branched off, goes on        lane
    view          a trace as the sensor settings of a batch see it                       lane
    long tick     a stretch in which nothing happens, as one step                        long_ticks
    fast tick     a tick of a running machine with nothing full, due or declared         fast_ticks

Why it is exact. A candidate is always at some tick, with the very state that stepping to that tick
gives. From there it does one of four things, tried in this order.

1. *A long tick of a healthy machine* (`healthy_end`). No fault is declared, no starved spell is open, the
integral is not full, the state is one that no row of the table leaves while net oil pressure is not low
(LUBRICATED: the table itself is asked), and the blocks ahead are intact (all plausible, none late), moving (nothing
stuck) and running, with net oil pressure at or above cut-in; where the integral is nothing, cut-out will do.
Then every tick is credible, counts in full as seen, and is not low. The integral drains or stays at nothing, no spell
opens, the guard has nothing to act on. What is left are amounts that run up or down by time alone and end at a
limit. For these one step over 2 t equals two steps over t (`tests/protect/test_split_step.py`), so the whole stretch
is one step, with the readings of its end. Two rules would take that step for what it is not, one for a late tick
and one for stuck readings: their limits, max_gap and stuck_after (and rest_most), are put out of reach in `patient`
settings, and the ages of the channels are put right behind it (`put_ages`).

2. *A long tick of a standing machine* (`standing_end`). The state is STOPPED, TRIPPED or LOCKED_OUT and the machine
stands, be it that the trace stands or that the stop is felt already; all ticks ahead are plausible and in time,
no channel is stuck, net oil pressure reads nothing where the trace stands, the restart delay does not run out and no
reset comes. A channel that is not stuck does not become so at standstill, so there is no doubt; spells are closed; no
row applies. One step again.

3. *Fast ticks* (`take_fast_ticks`): ticks of a moving block that run, are plausible and in time, with the grace used
up and no fault declared. While the integral does not become full and the reload guard does not act, the class of
net oil pressure (low, between, healthy) is all that the table asks for, and where it leads is looked up (`moves`).
Such a tick adds `integral.weight` times its elapsed time to the integral, which is one number in 1/2048 ms that
does not go below nothing, follows the spell (`conditions.follow_spell`), and runs timers down, which is done for
all these ticks at once by `timers.update`. A tick that may do more is not taken.

4. *A step* (`take` of one tick): signals, integral, timers, conditions and table of `protect`, as they are.

After a lockout whose stop is felt, with no reset to come in the trace, nothing can follow (`is_over`).

Lanes. Candidates of a group have the same state until one of them finds its integral full or the reload guard acts on
it. Both compare the integral with a level that rises with the trip delay, so this happens first to the least trip
delay. Before the tick at which it would, that candidate is left there with a copy of the state, and goes on alone
later. To branch off early would be no error: from the same state each does alone what its own settings say.
"""

from replay.sweep.course import Course, Noted
from replay.sweep.outcomes import Candidates, account, arrange, prepare, sweep

__all__ = ["Candidates", "Course", "Noted", "account", "arrange", "prepare", "sweep"]
