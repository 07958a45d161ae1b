"""Traces by physics: libraries of them, and machines that obey the protection."""

from replay.synth.libraries import Recipe, recipe, synthesise

__all__ = ["Recipe", "recipe", "synthesise"]
