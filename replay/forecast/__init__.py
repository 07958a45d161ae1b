"""Machine-years: what settings cost and save in ordinary duty, with faults at their frequencies.

How to add what befalls a machine: its family in `replay.physics.families`, its rate in `replay.physics.befalling`. How
to add a figure: what counts it in `year.Tally`, its name in `rates.FIGURES`.
"""

from replay.forecast.forecast import Forecast, forecast_years

__all__ = ["Forecast", "forecast_years"]
