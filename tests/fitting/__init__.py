"""What the room `replay/fitting` promises."""
