"""Machine-years."""
