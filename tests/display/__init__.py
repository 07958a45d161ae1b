"""Tests of what is told of results."""
