"""What the C port and the MicroPython wiring promise, and the room `replay/port` that holds ports to it."""
