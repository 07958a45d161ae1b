"""The console command `lubetrip`: a thin layer over functions of `replay`; nothing imports it.

Exit status: 0 done (score: acceptance met), 1 score: acceptance not met, 2 bad input, 3 score: not enough evidence;
`replay.cli.group` tells the others.

How to add a command: a function in `replay` that a notebook could call, and a thin layer in the module here that fits
its topic, or in a new one; options that several commands share stand in `options`. Bad input is a refusal of
`replay.ground.refusal`: file, line or key, value, rule, what would do.
"""

import pkgutil
import sys
from importlib import import_module

from replay.cli.own import clash

if (wrong := clash()) is not None:  # before any of it is imported
    sys.stderr.write(f"lubetrip: {wrong}; accepted: lubetrip installed in an environment of its own\n")
    sys.exit(2)

from replay.cli.group import main as main

for topic in pkgutil.iter_modules(__path__, f"{__name__}."):
    import_module(topic.name)
