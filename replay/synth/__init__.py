"""Traces by physics: libraries of them, and machines that obey the protection."""

from replay.synth.closed_loop import ClosedLoop, run_closed_loop
from replay.synth.libraries import Recipe, recipe, synthesise

__all__ = ["ClosedLoop", "Recipe", "recipe", "run_closed_loop", "synthesise"]
