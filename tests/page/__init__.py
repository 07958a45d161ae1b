"""What the room `replay/page` promises."""
