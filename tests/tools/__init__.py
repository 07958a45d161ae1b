"""The long tools: gates, campaigns, benchmarks, each held by a short run."""
