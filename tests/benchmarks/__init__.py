"""Speed, measured side by side: python -m tests.benchmarks NAME."""
