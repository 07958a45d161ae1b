"""A library of many short traces, for tests of who works on them."""

from pathlib import Path

from tests.conftest import SETTINGS, entry, trace_csv


def write_many(folder: Path) -> Path:
    """Write a library of ten short traces, every second one a fault, and return its folder."""
    (folder / "settings.toml").write_text(SETTINGS)
    text = 'settings = "settings.toml"\n'
    for number in range(10):
        fault = number % 2
        net = (lambda s, at=60 + number: 120.0 if s < at else 5.0) if fault else (lambda s: 120.0)
        (folder / f"t{number}.csv").write_text(trace_csv(300, net))
        label = f"must_trip = {{ earliest_s = {60 + number}, deadline_s = 150 }}" if fault else "ride_through = true"
        text += entry(f"t{number}", label, "starved" if fault else "steady")
        text = text.replace('"m"', f'"machine {number % 3}"')
    (folder / "library.toml").write_text(text)
    return folder
