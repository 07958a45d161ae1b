"""What the room `replay/score` promises."""
