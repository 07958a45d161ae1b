"""Start of the board: the protection and nothing else. Not a certified safety device, never the only protection."""

import time

import board_settings
import logic
import wiring


def run() -> None:
    """Run the protection for ever. Raises ValueError, with the relay untouched, for settings of another logic."""
    logic.refuse_others(board_settings.LAYOUT, board_settings.LOGIC)
    controller = wiring.Controller(board_settings.SETTINGS, time.ticks_ms(), board_settings.DIGEST)
    while True:
        if not controller.run_pass(time.ticks_ms()):
            time.sleep_ms(1)


if __name__ == "__main__":
    run()
