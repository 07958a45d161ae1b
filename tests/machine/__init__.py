"""The user's own machine: its file, what is drawn from it, and what its refrigerants and oils rest on."""
