"""Proof of the reference by z3: over the unmodified step, for all admitted settings and all inputs.

    symbolic    integers that build z3 terms, and fork where the code decides
    ways        the ways through the code, what is assumed and what is proved on them
    merging     a function on all its ways at once
    logic       any settings, state and inputs, and the invariant between two steps
    lemmas      what the parts that multiply do, each proved on its own
    theorems    what a whole step does, with those parts stood in for by their lemmas
    sealing     what the seal of state and settings finds
    claims      all of them by name

How they rest on one another. `first_fault` itself is run to find what admitted
settings are. The parts that multiply two unknowns (weight, accumulate, percent)
are proved on their own: z3 decides their products there, and not in the midst of
a whole step. In a whole step a stand-in takes their place, which knows no more
of its result than the lemma and proves that it was called as the lemma assumes.
All other code of a step runs as it stands; its functions are taken on all their
ways at once (`merging`).

Theorems on one step are theorems on every run, because the invariant holds at
power-up and each step keeps it. Those on a course of steps (a trip always comes,
none comes early, less oil never has the smaller integral) are inductions whose
one step is proved; the docstring of each says what is counted down or up.

How to add a claim: a function in `theorems` (of a whole step), `lemmas` (of one part) or `sealing` whose docstring is
the theorem and its assumptions, its name in `claims`, and a defect that refutes it in `DEFECTS` of
tests/protect/test_proof.py. What z3 does not decide is no proof: split it, so that each product of two unknowns is proved
by itself. A new part that multiplies needs a lemma and a stand-in.
"""
