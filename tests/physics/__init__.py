"""What the room `replay/physics` promises."""
