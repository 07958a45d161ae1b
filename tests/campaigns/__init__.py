"""Long runs that no test suite waits for: `python -m tests.campaigns NAME`."""
