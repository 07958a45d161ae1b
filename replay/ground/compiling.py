"""Says once that machine code is made: a command that waits for it looks dead, and the next one does not wait."""

import functools
import logging
from typing import Any

LOG = logging.getLogger("lubetrip")
COMPILING = "compiling for this machine, once: some 10 to 30 s"


@functools.cache
def tell_of_compiling() -> None:
    """Have the log say so when numba compiles for the first time in this process; machine code on disk is no news."""
    from numba.core import event

    class FirstCompile(event.Listener):
        told = False

        def on_start(self, _event: Any) -> None:
            if not self.told:
                self.told = True
                LOG.info(COMPILING)

        def on_end(self, _event: Any) -> None:
            pass

    event.register("numba:compile", FirstCompile())  # type: ignore[no-untyped-call]
