"""What the room `replay/tuning` promises."""
