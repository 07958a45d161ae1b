"""Libraries that try to come out met: traces whose noise no other has, and what may be wrong with them."""

import random
from collections.abc import Callable
from pathlib import Path

from tests.conftest import SETTINGS, entry

FAULT = "must_trip = { earliest_s = 100.0, deadline_s = 250.0 }"
RIDE = "ride_through = true"


def noisy(seed: int, seconds: int, net_kpa: Callable[[int], float], *, per: float = 1.0, from_s: int = 0) -> str:
    """Return a 1 Hz trace whose readings no other has; per: what stands in the file for one kPa; from_s: its first row."""
    draw = random.Random(seed)  # noqa: S311 - noise of a sensor
    rows = [(s, 300.0 + draw.uniform(-2, 2), draw.uniform(-2, 2)) for s in range(seconds + 1)]
    lines = ["time_s,oil_pressure_kpa,suction_pressure_kpa,running"]
    lines += [
        f"{s - from_s},{(suction + net_kpa(s) + ripple) * per:.3f},{suction * per:.3f},1"
        for s, suction, ripple in rows[from_s:]
    ]
    return "\n".join(lines) + "\n"


def faulty(second: int) -> float:
    """Return a net oil pressure that goes at 100 s."""
    return 120.0 if second < 100 else 5.0


def healthy(_second: int) -> float:
    """Return a net oil pressure."""
    return 120.0


def made(folder: Path, traces: dict[str, tuple[str, str]], settings: str = SETTINGS, more: str = "") -> Path:
    """Write a library of traces, each its text and label."""
    (folder / "settings.toml").write_text(settings)
    text = 'settings = "settings.toml"\n'
    for name, (rows, label) in traces.items():
        (folder / f"{name}.csv").write_text(rows)
        text += entry(name, label, "sensor fails" if name.startswith("sensor") else "starved")
    (folder / "library.toml").write_text(text + more)
    return folder


def broken_wire(second: int) -> float:
    """Return a net oil pressure that nobody can read from 100 s on."""
    return 120.0 if second < 100 else 5000.0
