"""What settings promise, `guarantee`, and where one of them comes from, `floor`."""

from pathlib import Path

import click

from replay.cli.group import main
from replay.cli.options import JSON, PATH, check_output, give_report
from replay.ground.refusal import refusal


@main.command(short_help="Print what the logic guarantees with these SETTINGS.")
@click.argument("settings_file", metavar="SETTINGS", type=PATH)
@JSON
def guarantee(settings_file: Path, json_file: Path | None) -> None:
    """Print what the logic guarantees with these SETTINGS, and how each line is known.

    Worst time to a stop for each depth of net oil pressure, the longest dip that
    is ridden through, pulsation, sensors, reload guard, restarts and lockout;
    and what is not guaranteed.
    """
    from replay.display.guarantee import guarantee_view
    from replay.settings import read_settings
    from replay.settings.guarantee import guarantee as guaranteed

    check_output(json_file)
    report = guaranteed(read_settings(settings_file))
    give_report(json_file, report.as_json(), lambda: guarantee_view(report))


@main.command()
@click.option("--outer-radius", required=True, metavar="LENGTH", help='Largest radius that oil has to reach: "55 mm".')
@click.option(
    "--inner-radius",
    default="0 mm",
    show_default=True,
    metavar="LENGTH",
    help="Radius at which oil enters the drilling.",
)
@click.option("--speed", required=True, metavar="SPEED", help='Shaft speed: "1450 rpm".')
@click.option("--density", default="900 kg/m^3", show_default=True, metavar="DENSITY", help="Density of the oil.")
def floor(outer_radius: str, inner_radius: str, speed: str, density: str) -> None:
    """Print the floor pressure of a crankshaft drilling.

    Below this net oil pressure the centrifugal head in the drilling keeps oil from
    the crankpins.
    """
    from replay.ground.units import PSI_PA
    from replay.settings.floor import floor_pressure_pa

    outer = _quantity("--outer-radius", outer_radius, "metre", '"55 mm"')
    inner = _quantity("--inner-radius", inner_radius, "metre", '"8 mm"')
    rpm = _quantity("--speed", speed, "revolution/minute", '"1450 rpm"')
    rho = _quantity("--density", density, "kilogram/metre**3", '"900 kg/m^3"')
    try:
        pascals = floor_pressure_pa(outer, inner, rpm, rho)
    except ValueError as error:
        raise refusal(
            "floor", "", str(error), "0 <= inner radius <= outer radius, speed and density not below 0"
        ) from None
    click.echo(f"floor pressure {pascals / PSI_PA:.3f} psi = {pascals / 1e5:.4f} bar = {pascals / 1000:.3f} kPa")


def _quantity(option: str, text: str, unit: str, example: str) -> float:
    from replay.ground.units import UnitError, quantity

    try:
        return quantity(text, unit, example)
    except UnitError as error:
        raise refusal("floor", option, str(error), f"text such as {example}", text) from None
