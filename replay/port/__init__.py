"""What a port is held against: vectors, their coverage, drawn steps, the driver and its links, exported settings."""
