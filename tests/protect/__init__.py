"""What `protect` promises."""
