"""Run a campaign by its name: `python -m tests.campaigns differential --steps 1e9`."""

from tests.campaigns.choice import choice
from tests.campaigns.confirm import command as confirm
from tests.campaigns.differential import command
from tests.campaigns.faults import faults
from tests.campaigns.fits import fits
from tests.campaigns.fuzz import fuzz
from tests.campaigns.injection import injection
from tests.campaigns.law import law
from tests.campaigns.leaps import leaps
from tests.campaigns.proof import proof
from tests.campaigns.reloading import reload
from tests.campaigns.slips import slips
from tests.campaigns.soak import soak
from tests.campaigns.strangers import strangers
from tests.campaigns.years import years

command.add_command(choice)
command.add_command(confirm)
command.add_command(faults)
command.add_command(fits)
command.add_command(fuzz)
command.add_command(injection)
command.add_command(law)
command.add_command(leaps)
command.add_command(proof)
command.add_command(reload)
command.add_command(slips)
command.add_command(soak)
command.add_command(strangers)
command.add_command(years)

if __name__ == "__main__":
    command()
