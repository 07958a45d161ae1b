"""What the room `replay/ground` promises."""
