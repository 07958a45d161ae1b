"""Run a campaign by its name: `python -m tests.campaigns differential --steps 1e9`."""

from tests.campaigns.differential import command

if __name__ == "__main__":
    command()
