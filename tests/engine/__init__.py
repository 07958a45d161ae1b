"""What the room `replay/engine` promises."""
