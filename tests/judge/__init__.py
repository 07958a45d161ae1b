"""What the host side judges, held against a second account of it."""
