"""A machine file read and checked: `machine.toml` -> `MachineFile`."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from replay.ground.places import place_of
from replay.ground.refusal import refusal
from replay.ground.shape import Keys, UnfitError, fit
from replay.ground.toml_files import parse_toml, read_toml
from replay.ground.units import absolute_pressure_pa, atmosphere_pa
from replay.machine.draw import Fixed, site_of, solubility_told
from replay.machine.duty import duty_of, per_year_of
from replay.machine.found import ENSEMBLE, FIT, INSPECTION, TABLES, Inspection, inspections_of
from replay.machine.keys import FIGURES, ORIGIN, ROWS, SECTIONS, WORDS, Figure, Range, shape
from replay.machine.limits import check
from replay.machine.refrigerants import SOURCE
from replay.physics.days import Duty
from replay.physics.drawing import ANY, Draw, Site

MEASURED, PUBLISHED, ASSUMED = "measured", "published", "assumed"
LEAST_RANGE_PA = -50e3  # what 4 mA may stand for
# Keys that are not used where one of others is stated.
INSTEAD = {
    "oil.grade": ("oil.viscosity_40", "oil.viscosity_points"),
    "oil.viscosity_40": ("oil.viscosity_points",),
    "oil.viscosity_100": ("oil.viscosity_points",),
    "site.ambient": ("site.oil_temperature",),
    "site.altitude": ("name",),  # used with gauge pressures alone, which say so
    "solubility.interaction": ("solubility.pair", "solubility.points"),
    "solubility.oil_molar_mass": ("solubility.pair",),
}


@dataclass(frozen=True, eq=False)
class MachineFile:
    """One machine as its file describes it.

    stated: what the file says, by section and key ("compressor.clearance"): figures as (low, high) in the units used
    inside (m, m3, m3/s, 1/min, degrees C, Pa, s, mm2/s, kg/m3), words as they are. text: the file itself, which
    everything follows from. members: figures of each machine of a fit's ensemble; inspections, fitted: see `found`.
    Instances can be sent to workers.
    """

    file: str
    text: str
    stated: dict[str, Any]
    members: tuple[dict[str, Range], ...] = ()
    inspections: tuple[Inspection, ...] = ()
    fitted: dict[str, Any] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """What the machine is called."""
        return str(self.stated["name"])

    @property
    def digest(self) -> str:
        """SHA-256 of the file's text."""
        return hashlib.sha256(self.text.encode()).hexdigest()

    def status(self, path: str) -> str:
        """Return what stands behind a key: measured, published or assumed; "" for one that is not used."""
        if path == "refrigerant.name":
            return PUBLISHED
        if path in self.stated:
            return next((its for its in (PUBLISHED, ASSUMED) if path in self.stated[f"{ORIGIN}.{its}"]), MEASURED)
        row = FIGURES.get(path) or WORDS[path]
        used = row.drawn is not None or row.section == "behaviour" if isinstance(row, Figure) else row.left_out != ""
        replaced = any(other in self.stated for other in INSTEAD.get(path, ()))
        return ASSUMED if used and not replaced else ""

    @cached_property
    def assumed(self) -> tuple[str, ...]:
        """Keys that are assumed: left out, or said to be."""
        return tuple(row.path for row in ROWS if self.status(row.path) == ASSUMED)

    @cached_property
    def source(self) -> str:
        """Where the figures of a trace of this machine come from, in a line."""
        told, assumed = [], {*self.assumed}
        for section in SECTIONS:
            keys = [row.key for row in ROWS if row.section == section and row.path in assumed]
            known = [row.key for row in ROWS if row.section == section and row.path in self.stated]
            if section == "behaviour" and keys:
                told.append("behaviour (" + ", ".join(["all", *(f"but {key}" for key in known)]) + ")")
            elif keys:
                told.append(f"{section} ({', '.join(keys)})")
        if self.members:
            told.append(f"none of what the ensemble of {len(self.members)} members holds, which was fitted")
        by = f"refrigerant by {SOURCE}; solubility by {solubility_told(self.stated)}"
        return f"machine file {self.digest[:12]}; {by}; assumed: {', '.join(told) or 'nothing'}"

    @property
    def altitude_m(self) -> float:
        """Height of the site, which gauges count from."""
        return _altitude_m(self.stated)

    def site(self, draw: Draw, oils: Sequence[str] = ANY) -> Site:
        """Draw an installation: a `replay.physics.drawing.Sites`. oils: invented ones that its oil has to be like.

        Raises ValueError where the file's oil is like none of them; `left_out` says which families that concerns.
        """
        member = draw.one_of(self.members) if self.members else {}
        return site_of({**self.stated, **member}, draw, oils, self.source)

    def others(self, most: int) -> list["MachineFile"]:
        """Return some members of the ensemble, evenly from all of it, each as a machine of its own."""
        count = min(most, len(self.members))
        places = [round((i + 0.5) * len(self.members) / count - 0.5) for i in range(count)]
        return [replace(self, members=(self.members[place],)) for place in places]

    def ends(self) -> tuple[Site, Site]:
        """Return the installation at the lower and at the upper ends of all ranges."""
        low, high = (self.site(Fixed(share)) for share in (0.0, 1.0))
        return low, high

    def middle(self, oils: Sequence[str] = ANY) -> Site:
        """Return the installation in the middle of every range, its sensors sound."""
        return self.site(Fixed(0.5), oils)

    @property
    def duty(self) -> Duty:
        """What the machine does in a year, as the file says and else as assumed."""
        site = self.middle()
        return duty_of(self.stated, unloads=bool(site.unloading), varies=site.speeds_rpm is not None)

    @property
    def per_year(self) -> dict[str, float]:
        """How often each family that makes sense on it befalls it in a year, as the file says and else as assumed."""
        return per_year_of(self.stated, self.left_out())

    def left_out(self) -> dict[str, str]:
        """Return the families that make no sense on this machine, each with the reason."""
        from replay.machine.suits import left_out

        return left_out(self.stated)


def read_machine(path: Path | str) -> MachineFile:
    """Read and check a machine file. Raises Refusal, which names the key, at the first fault."""
    path = place_of(path)
    table = read_toml(path, "machine file")
    return _machine(path, path.read_text(encoding="utf-8-sig"), table)


def machine_from(file: Path | str, text: str) -> MachineFile:
    """Check the text of a machine file; file: what a refusal names. Raises Refusal."""
    return _machine(file, text, parse_toml(text))


def _machine(file: Path | str, text: str, table: dict[str, Any]) -> MachineFile:
    found = fit(file, table, Keys({**shape().by_name, **TABLES}))
    members, rows, fitted = found.pop(ENSEMBLE, ()), found.pop(INSPECTION, []), found.pop(FIT, {})
    origin = found.pop(ORIGIN, {})
    stated: dict[str, Any] = {f"{ORIGIN}.{its}": origin.get(its, ()) for its in (PUBLISHED, ASSUMED)}
    for section, its in found.items():
        stated |= {f"{section}.{key}": value for key, value in its.items()} if isinstance(its, dict) else {section: its}
    _set_ranges(file, table, stated)
    check(file, table, stated)
    return MachineFile(str(file), text, stated, members, inspections_of(rows), fitted)


def _altitude_m(stated: dict[str, Any]) -> float:
    return float(sum(stated.get("site.altitude", (0.0, 0.0))) / 2.0)


def _set_ranges(file: Path | str, table: dict[str, Any], stated: dict[str, Any]) -> None:
    """Make the sensors' ranges absolute Pa at the site's altitude."""
    altitude = _altitude_m(stated)
    for key in ("oil_range", "suction_range"):
        path = f"sensors.{key}"
        if path not in stated:
            continue
        accepted = 'two pressures, the lower one first, such as ["0 kPa", "1600 kPa"]'
        try:
            low, high = (float(absolute_pressure_pa(one, atmosphere_pa(altitude))) for one in stated[path])
        except UnfitError as error:
            raise refusal(file, f"[sensors] {key}", str(error), accepted, table["sensors"][key]) from None
        if not LEAST_RANGE_PA <= low < high:
            rule = "a range that falls" if low >= LEAST_RANGE_PA else "a range that begins below an empty vacuum"
            raise refusal(file, f"[sensors] {key}", rule, accepted, table["sensors"][key])
        stated[path] = (low, high)
