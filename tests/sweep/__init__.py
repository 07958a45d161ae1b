"""What the room `replay/sweep` promises."""
