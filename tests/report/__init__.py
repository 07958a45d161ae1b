"""What the room `replay/report` promises."""
