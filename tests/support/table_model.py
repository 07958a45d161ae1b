"""The cause-and-effect table as a state machine of the `transitions` package.

Made from the same rows, evaluated by other code: each row becomes a transition
with named conditions, and `transitions` decides which one is taken.
"""

from transitions import Machine

from protect.table import TABLE
from tests.support.protection import STATES

# Names of the condition bits from the lowest, and of the effects.
BITS = (
    "running",
    "in_grace",
    "low",
    "healthy",
    "integral_full",
    "reload_guard",
    "restart_due",
    "last_trip",
    "reset_press",
    "sensor_ok",
    "sensor_fault",
    "resets_spent",
)
EFFECTS = ("none", "stop_on_oil", "stop_on_reload", "stop_on_sensor", "forget_trips", "refuse_reset")
CONDITIONS = range(1 << len(BITS))


def bit(name: str) -> int:
    """Return the condition bit with this name."""
    return 1 << BITS.index(name)


def names_of(bits: int) -> set[str]:
    """Return the names of the bits that are set."""
    return {name for number, name in enumerate(BITS) if bits >> number & 1}


class TableModel:
    """Conditions as attributes, effects as methods, the state as `state`."""

    def __init__(self, memory: int) -> None:
        self.memory = memory  # ms of trip memory that a counted trip sets
        self.machine = Machine(self, states=list(STATES), initial="STOPPED", auto_transitions=False)
        for source, mask, value, target, effect in TABLE:
            wanted = names_of(mask & value)
            self.machine.add_transition(
                "read",
                STATES[source],
                STATES[target],
                conditions=sorted(wanted),
                unless=sorted(names_of(mask) - wanted),
                after=EFFECTS[effect],
            )

    def settle(self, state: str, bits: int) -> None:
        """Read the table from `state` until nothing moves or something but the state has changed."""
        self.machine.set_state(state)
        self.trips, self.memory_left, self.cause, self.acted = 7, 1, "none", False
        self.resets = 2
        for number, name in enumerate(BITS):
            setattr(self, name, bool(bits >> number & 1))
        while not self.acted and self.read():
            pass

    def none(self) -> None:
        """Do nothing beside the change of state."""

    def stop_on_oil(self) -> None:
        """Count a trip on the full integral."""
        self.trips, self.memory_left, self.cause, self.acted = self.trips + 1, self.memory, "oil", True

    def stop_on_reload(self) -> None:
        """Count a trip of the reload guard."""
        self.trips, self.memory_left, self.cause, self.acted = self.trips + 1, self.memory, "reload", True

    def stop_on_sensor(self) -> None:
        """Stop without counting a trip."""
        self.cause, self.acted = "sensor", True

    def forget_trips(self) -> None:
        """Forget all counted trips, and count the reset."""
        self.trips, self.memory_left, self.resets, self.acted = 0, self.memory, self.resets + 1, True

    def refuse_reset(self) -> None:
        """Say that there were too many."""
        self.cause, self.acted = "resets", True
