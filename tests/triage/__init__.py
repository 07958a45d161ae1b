"""What the room `replay/triage` promises."""
