"""What the room `replay/drawing` promises."""
