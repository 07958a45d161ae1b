"""A small library to tune on: faults with little time, dips that come through, on two machines."""

from pathlib import Path

from tests.conftest import SETTINGS, trace_csv

HEALTHY, START = 120.0, 60  # kPa, s
# name, family, machine, net oil pressure from START on, seconds it lasts, deadline (None: ride through)
TRACES = (
    ("dry-1", "dry", "north", 5.0, 240, START + 45),
    ("dry-2", "dry", "south", 5.0, 240, START + 60),
    ("weak-1", "weak", "north", 45.0, 240, START + 90),
    ("weak-2", "weak", "south", 52.0, 240, START + 120),
    ("dip-1", "dip", "north", 5.0, 12, None),
    ("dip-2", "dip", "south", 5.0, 24, None),
    ("sag-1", "sag", "north", 50.0, 50, None),
    ("sag-2", "sag", "south", 58.0, 200, None),
)


def write_library(folder: Path) -> Path:
    """Write the library with its settings and return its folder."""
    folder.mkdir(exist_ok=True)
    (folder / "settings.toml").write_text(SETTINGS.replace('"60 s"\nfloor', '"60 s"  # a guess\nfloor'))
    text = 'settings = "settings.toml"\n'
    for name, family, machine, net, lasts, deadline in TRACES:
        shape = lambda s, net=net, lasts=lasts: net if START <= s < START + lasts else HEALTHY  # noqa: E731
        (folder / f"{name}.csv").write_text(trace_csv(300, shape))
        label = (
            "ride_through = true" if deadline is None else f"must_trip = {{ earliest_s = 60, deadline_s = {deadline} }}"
        )
        text += f'[[trace]]\nid = "{name}"\nfile = "{name}.csv"\nfamily = "{family}"\nmachine = "{machine}"\n'
        text += f'oil = "o"\norigin = "synthetic: by hand"\n{label}\n'
    (folder / "library.toml").write_text(text)
    return folder
