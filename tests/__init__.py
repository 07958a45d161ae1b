"""The tests, readable as a specification, a folder for each room, and the tools beside them: README.md says what stands where."""
