"""Many candidate settings over one trace at once, each with the very result of a replay of its own."""
