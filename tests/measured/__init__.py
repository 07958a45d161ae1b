"""What the room `replay/measured` promises."""
