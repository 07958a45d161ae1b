"""What contradicts itself or lies beyond the model's equations is refused, with the reason and what would do."""

from typing import Any

import pytest

from replay.ground.refusal import Refusal
from tests.support.machines import LARGE, SMALL, machine

AMMONIA = {"refrigerant__name": "R717", "site__condensing": ["25 C", "35 C"]}
CARBON_DIOXIDE = {
    "refrigerant__name": "R744",
    "site__evaporating": ["-35 C", "-30 C"],
    "site__condensing": ["-10 C", "0 C"],
}
REFUSED: dict[str, tuple[dict[str, Any], str]] = {
    "neither displacement nor dimensions": ({"compressor__displacement": None}, "no displacement"),
    "a bore without a stroke": ({"compressor__displacement": None, "compressor__bore": "70 mm"}, "stroke"),
    "dimensions that come to another displacement": (
        {"compressor__bore": "70 mm", "compressor__stroke": "55 mm", "compressor__cylinders": 4},
        "contradicts bore",
    ),
    "a drilling that ends inside its inlet": (
        {"compressor__drilling_outlet": "20 mm", "compressor__drilling_inlet": "25 mm"},
        "not inside",
    ),
    "a floor pressure near the healthy one": ({"compressor__drilling_outlet": "80 mm"}, "floor pressure"),
    "a journal too long for any film": (
        {"compressor__journal_radius": "10 mm", "compressor__journal_length": "60 mm"},
        "no film is solved",
    ),
    "a bearing that rattles": (
        {"compressor__journal_radius": "10 mm", "compressor__journal_clearance": "0.2 mm"},
        "no bearing of this radius",
    ),
    "an oil that hardly thins": ({"oil__viscosity_40": "20 mm2/s", "oil__viscosity_100": "19 mm2/s"}, "hardly falls"),
    "a viscosity that is not of the grade": (
        {"oil__grade": 32, "oil__viscosity_40": "68 mm2/s"},
        r'viscosity_40 = "68 mm2/s": 68 mm2/s at 40 C is not of grade 32; accepted: 28.8 to 35.2 mm2/s',
    ),
    "a viscosity below its grade": ({"oil__grade": 68, "oil__viscosity_40": "46 mm2/s"}, "accepted: 61.2 to 74.8"),
    "points of viscosity that are not of the grade": (
        {"oil__grade": [32, 46], "oil__viscosity_points": [["40 C", "68 mm2/s"], ["80 C", "15 mm2/s"]]},
        "viscosity_points .* is not of grade 46; accepted: 28.8 to 50.6",
    ),
    "a still oil that keeps its foam": (
        {"oil__behaviour": "still", "oil__foam_share": 0.7},
        'foam_share = 0.7: .*; accepted: behaviour = "foaming"',
    ),
    "a foaming oil that keeps none": (
        {"oil__behaviour": "foaming", "oil__foam_share": [0.02, 0.1]},
        '"still" beside it',
    ),
    "foam without a word of behaviour": ({"oil__foam_share": 0.7}, '"foaming" beside it'),
    "foam on both sides": ({"oil__behaviour": "foaming", "oil__foam_share": [0.05, 0.7]}, "on one side of 0.1"),
    "ammonia on ester oil": ({**AMMONIA, "oil__kind": "ester"}, "takes ester oil apart"),
    "ammonia on mineral oil by a general law": (AMMONIA, "no general law holds"),
    "carbon dioxide beyond its critical point": ({**CARBON_DIOXIDE, "site__condensing": "35 C"}, "transcritical"),
    "carbon dioxide near it": ({**CARBON_DIOXIDE, "site__condensing": "20 C"}, "critical temperature"),
    "carbon dioxide too dense to be an ideal gas": (
        {**CARBON_DIOXIDE, "site__evaporating": "0 C", "site__condensing": "15 C"},
        "no ideal gas",
    ),
    "a pair that nobody measured": ({"refrigerant__name": "R22", "solubility__pair": "PEC9"}, "no published pair"),
    "an ester's pair for another oil": ({"oil__kind": "PAG", "solubility__pair": "PEC9"}, "an ester's pair"),
    "two solubilities": (
        {"solubility__pair": "PEC9", "solubility__points": [["40 C", "300 kPa", 0.1], ["60 C", "400 kPa", 0.1]]},
        "a pair and points",
    ),
    "an interaction beside a pair": (
        {"solubility__pair": "PEC9", "solubility__interaction": 1.0},
        "interaction = 1: is not used beside pair; accepted: pair or interaction",
    ),
    "an interaction beside points": (
        {"solubility__interaction": 1.0, "solubility__points": [["40 C", "300 kPa", 0.1], ["60 C", "400 kPa", 0.1]]},
        "not used beside points",
    ),
    "points that press less the warmer they are": (
        {"solubility__points": [["40 C", "300 kPa", 0.1], ["20 C", "500 kPa", 0.1]]},
        "presses less the warmer it is",
    ),
    "points above the refrigerant's own saturation": (
        {"solubility__points": [["20 C", "900 kPa", 0.1], ["60 C", "400 kPa", 0.1]]},
        "itself condenses",
    ),
    "points by no such law": (
        {"solubility__points": [["20 C", "20 kPa", 0.4], ["22 C", "500 kPa", 0.02], ["21 C", "30 kPa", 0.1]]},
        "no such law",
    ),
    "nothing to compress": ({"site__evaporating": "20 C"}, "nothing to compress"),
    "a clearance that leaves nothing to move": (
        {"compressor__clearance": 0.15, "site__evaporating": "-38 C", "site__condensing": "60 C"},
        "hardly moves gas",
    ),
    "levels that cross": ({"behaviour__dry_level": 0.24, "behaviour__inlet_level": [0.24, 0.25]}, "outside|not below"),
    "a speed far over the rated one": ({"compressor__speed": "3000 rpm"}, "far above"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_a_contradiction_is_refused_with_its_reason(case: str) -> None:
    """Catches a machine that no equation holds for and that is run all the same."""
    changed, words = REFUSED[case]

    with pytest.raises(Refusal, match=words) as refused:
        machine(SMALL, **changed)
    assert "accepted" in str(refused.value)


ADMITTED: dict[str, dict[str, Any]] = {
    "ammonia on mineral oil with points": {
        **AMMONIA,
        "solubility__points": [["20 C", "400 kPa", 0.006], ["60 C", "900 kPa", 0.008]],
    },
    "ammonia on PAG": {**AMMONIA, "oil__kind": "PAG"},
    "carbon dioxide in the low stage": CARBON_DIOXIDE,
    "dimensions that agree": {"compressor__bore": "40 mm", "compressor__stroke": "34.1 mm", "compressor__cylinders": 4},
    "a viscosity at the end of its grade": {"oil__grade": 32, "oil__viscosity_40": "35.2 mm2/s"},
    "points of viscosity of the grade": {
        "oil__grade": 68,
        "oil__viscosity_points": [["40 C", "68 mm2/s"], ["80 C", "15 mm2/s"]],
    },
    "a still oil with a little foam": {"oil__behaviour": "still", "oil__foam_share": 0.1},
    "a foaming oil with foam": {"oil__behaviour": "foaming", "oil__foam_share": [0.11, 0.7]},
    "points of one temperature": {"solubility__points": [["40 C", "300 kPa", 0.1], ["40 C", "400 kPa", 0.15]]},
    "R448A": {"refrigerant__name": "R448A"},
    "R290 on mineral oil": {"refrigerant__name": "R290"},
}


@pytest.mark.parametrize("case", ADMITTED)
def test_what_stays_inside_the_limits_is_admitted(case: str) -> None:
    """Catches a limit that shuts out what it was not meant for."""
    described = machine(SMALL, **ADMITTED[case])

    assert described.middle().suction_pa > 0.0


def test_condensing_pressure_far_above_that_of_the_demo_is_admitted() -> None:
    """R404A at 50 C, over 2 MPa; catches a limit of the demo site that stands in a user's way."""
    hot = machine(LARGE, site__condensing=["48 C", "50 C"])

    assert hot.middle().discharge_pa > 2.2e6
    assert machine(SMALL, site__evaporating=["-30 C", "-28 C"]).middle().suction_pa < 100e3
