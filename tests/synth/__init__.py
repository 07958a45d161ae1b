"""What the room `replay/synth` promises."""
