"""What the room `replay/trace` promises."""
