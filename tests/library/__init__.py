"""What the room `replay/library` promises."""
