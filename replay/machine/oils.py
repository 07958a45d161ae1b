"""What kinds of oil are usually like, for figures of an oil that a machine file leaves out. Assumed where not said."""

from replay.machine.keys import Range

# Density in kg/m3 and molar mass in g/mol by kind of oil; common practice and assumed.
DENSITY = {"ester": 970.0, "mineral": 890.0, "alkylbenzene": 870.0, "PAG": 1000.0, "PVE": 930.0, "PAO": 835.0}
MOLAR_MASS: dict[str, Range] = {
    "ester": (530.0, 750.0),
    "mineral": (300.0, 480.0),
    "alkylbenzene": (280.0, 420.0),
    "PAG": (700.0, 2000.0),
    "PVE": (600.0, 1100.0),
    "PAO": (400.0, 650.0),
}
HYDROCARBON_OILS = ("mineral", "alkylbenzene", "PAO")
# Refrigerants whose part in an oil goes alike.
CLASS = {
    "R134a": "HFC",
    "R143a": "HFC",
    "R152a": "HFC",
    "R404A": "HFC",
    "R407C": "HFC",
    "R448A": "HFC",
    "R507A": "HFC",
    "R22": "R22",
    "R290": "R290",
    "R717": "R717",
    "R744": "R744",
}
# chi of the general law at 40 C by kind of oil and class of refrigerant: see `solubility` for what stands behind it.
CHI: dict[tuple[str, str], Range] = {
    ("ester", "HFC"): (0.9, 1.4),
    ("ester", "R22"): (0.6, 1.2),
    ("ester", "R290"): (0.5, 1.2),
    ("ester", "R744"): (0.9, 1.8),
    ("PVE", "HFC"): (0.7, 1.3),
    ("PVE", "R22"): (0.5, 1.1),
    ("PVE", "R290"): (0.4, 1.0),
    ("PVE", "R744"): (0.9, 1.8),
    ("PAG", "HFC"): (0.65, 1.1),
    ("PAG", "R22"): (0.4, 1.0),
    ("PAG", "R290"): (0.9, 1.8),
    ("PAG", "R744"): (1.0, 2.0),
    ("PAG", "R717"): (1.0, 2.2),
    ("alkylbenzene", "HFC"): (1.3, 1.9),
    ("alkylbenzene", "R22"): (0.5, 1.1),
    ("alkylbenzene", "R290"): (0.1, 0.6),
    ("alkylbenzene", "R744"): (1.2, 2.2),
    ("mineral", "HFC"): (1.6, 2.4),
    ("mineral", "R22"): (0.6, 1.2),
    ("mineral", "R290"): (0.1, 0.6),
    ("mineral", "R744"): (1.3, 2.3),
    ("PAO", "HFC"): (1.6, 2.4),
    ("PAO", "R22"): (0.7, 1.3),
    ("PAO", "R290"): (0.1, 0.6),
    ("PAO", "R744"): (1.3, 2.3),
}
# What a figure of [oil] left out is drawn from, by behaviour, where it is not the one of the table of keys.
OF_STILL: dict[str, Range] = {"foam_share": (0.005, 0.03), "foam_life": (0.2, 0.5)}
OF_FOAMING: dict[str, Range] = {
    "held_volumes": (0.0, 0.0),
    "boil_time": (9.0, 16.0),
    "touching_void": (0.72, 0.76),
    "gathering": (0.2, 0.3),
    "absorption_time": (450.0, 750.0),
}


def usual_kind(refrigerant: str) -> str:
    """Return the kind of oil that goes with a refrigerant where none is stated."""
    return "mineral" if CLASS[refrigerant] in ("R22", "R290", "R717") else "ester"
