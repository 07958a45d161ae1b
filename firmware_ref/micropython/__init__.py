"""The MicroPython wiring; copied onto a board, these files lie flat beside `protect/`."""
