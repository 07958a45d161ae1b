"""The machine file that explains itself: every key with its unit, what is admitted, and what applies if left out."""

import textwrap

from replay.machine.keys import ROWS, SECTIONS, Figure
from replay.machine.word import Word

WIDTH = 116
HEAD = """\
A machine for `lubetrip machine check`, `lubetrip synth --machine` and `lubetrip fit`.

Every value carries its unit ("70 mm", "90 m3/h", "-10 C", "20 psi"), or is a range [low, high] to draw from.
A line that begins with "# key =" is left out: its value is drawn anew for each trace from the range given, which is
assumed, and whatever is made from this file says so. Fill in what you know, preferably what you have measured.
Labels made from this file are those of a model: nothing here is certified, and no stop is proved right by it.\
"""


def machine_template() -> str:
    """Return the text of a new machine file, which `read_machine` takes as it stands."""
    lines = [f"# {line}".rstrip() for line in HEAD.splitlines()]
    for section, told in SECTIONS.items():
        rows = [row for row in ROWS if row.section == section]
        if section:
            lines += ["", f"[{section}]", *_comment(told)]
        for row in rows:
            lines += _key(row)
    lines += ['# published = ["compressor.displacement"]', '# assumed = ["oil.density"]']
    return "\n".join(lines) + "\n"


def _key(row: Figure | Word) -> list[str]:
    left_out = row.left_out
    told = f"{row.text}; {row.accepted}" + (f"; if left out: {left_out}" if left_out else "")
    stands = row.needed or row.path == "compressor.displacement"
    example = row.example or _example(row)
    return ["", *_comment(told), f"{'' if stands else '# '}{row.key} = {example}"]


def _example(row: Figure | Word) -> str:
    """Return a value that would do."""
    if isinstance(row, Word):
        return WORDS[row.path]
    low, high = row.least, row.most
    if row.drawn is not None and not row.drawn.of and row.least <= row.drawn.low:
        low, high = row.drawn.low, row.drawn.high
    if row.path in EXAMPLES:
        return EXAMPLES[row.path]
    return row.kind.write(0.5 * (low + high))


EXAMPLES = {
    "compressor.bore": '"70 mm"',
    "compressor.stroke": '"55 mm"',
    "compressor.speed": '["700 rpm", "1450 rpm"]',
    "compressor.crankcase_volume": '"18 l"',
    "compressor.evaporator_volume": '"140 l"',
    "compressor.pistons_per_pin": "2",
    "compressor.drilling_outlet": '"35 mm"',
    "compressor.drilling_inlet": '"7 mm"',
    "compressor.journal_radius": '"22 mm"',
    "compressor.journal_length": '"33 mm"',
    "compressor.journal_clearance": '"0.02 mm"',
    "compressor.oil_charge": '"5 l"',
    "compressor.oil_pump_sweep": '"6 l/min"',
    "compressor.inlet_pocket": '"0.05 l"',
    "compressor.inlet_lift": '"220 mm"',
    "oil.viscosity_40": '"68 mm2/s"',
    "oil.viscosity_100": '"8.7 mm2/s"',
    "oil.density": '"960 kg/m3"',
    "solubility.interaction": "[0.9, 1.3]",
    "solubility.oil_molar_mass": "650",
    "site.ambient": '["10 C", "35 C"]',
    "site.oil_temperature": '"48 C"',
    "site.altitude": '"40 m"',
    "sensors.period": '"1 s"',
}
WORDS = {
    "compressor.cylinders": "4",
    "compressor.unloading": "[0.5]",
    "compressor.reversible_pump": "false",
    "oil.viscosity_points": '[["40 C", "68 mm2/s"], ["80 C", "15 mm2/s"]]',
    "oil.behaviour": '"still"',
    "solubility.pair": '"PEC9"',
    "solubility.points": '[["30 C", "300 kPa", 0.16], ["60 C", "400 kPa", 0.09]]',
    "site.neighbours": "false",
    "sensors.oil_range": '["0 kPa", "1600 kPa"]',
    "sensors.suction_range": '["0 kPa", "1600 kPa"]',
    "sensors.crankcase": "false",
}


def _comment(text: str) -> list[str]:
    return [f"# {line}" for line in textwrap.wrap(text, WIDTH, break_long_words=False)]
