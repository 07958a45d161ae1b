"""What the room `replay/settings` promises."""
