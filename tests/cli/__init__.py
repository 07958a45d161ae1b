"""What the room `replay/cli` promises."""
