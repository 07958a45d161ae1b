"""A stand-in for MicroPython's `machine` on any Python: pins and converters that a test sets by number."""

COUNTS = {}  # pin number -> converter counts
LEVELS = {}  # pin number -> level of an input, or what was written to an output
FED = []  # one entry for each feeding of the watchdog


class Pin:
    """A digital pin; an output starts with its given value."""

    IN, OUT, PULL_UP = 0, 1, 2

    def __init__(self, number, _mode=IN, _pull=0, value=None):
        self.number = number
        if value is not None:
            LEVELS[number] = value

    def value(self, level=None):
        """Write the pin where a level is given; return its level."""
        if level is not None:
            LEVELS[self.number] = level
        return LEVELS.get(self.number, 1)


class ADC:
    """An analogue input."""

    def __init__(self, pin):
        self.pin = pin

    def read_u16(self):
        """Return the counts of the pin."""
        return COUNTS[self.pin.number]


class WDT:
    """A watchdog that keeps count."""

    def __init__(self, timeout):
        self.timeout = timeout

    def feed(self):
        """Note the feeding."""
        FED.append(1)
