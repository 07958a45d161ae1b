"""`python -m replay` is the command `lubetrip`."""

from replay.cli import main

if __name__ == "__main__":
    main(prog_name="lubetrip")
