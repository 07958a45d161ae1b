"""The tests, readable as a specification; what they share stands in the modules without `test_`."""
