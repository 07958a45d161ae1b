"""What the room `replay/port` promises."""
