"""Tests of the tools: gates, campaigns and benchmarks, each by a short run; the page of outside checks; the record of results."""
