"""The user's own machine: described in a file, with what the file leaves out drawn and named as assumed.

`read_machine(path)` checks a `machine.toml` and returns a `MachineFile`:

    site(draw, oils)   an installation of it, `replay.physics.drawing.Site`: figures stated stand, others are drawn. It
                       is a `Sites`: `case_of(family, index, seed, sites=machine.site)` runs a family on it
    middle(oils)       the same in the middle of every range, sensors sound
    stated             what the file says by "section.key": figures as (low, high) in the units used inside
    status(key)        measured, published or assumed; `assumed` lists the latter, `source` tells it in a line
    left_out()         families that make no sense on it, each with the reason
    digest, text       SHA-256 of the file's text, and the text, which all else follows from: same text, same traces
    machine_from(file, text)   the same from text, for a file that is about to be written

What a fit finds goes into `[behaviour]`, under the names of `replay.physics.behaviour.Behaviour` in SI units, each a
value or a range; a site with other values is `dataclasses.replace(site, behaviour=...)`.

`keys` is the table of all keys (units, admitted and assumed ranges, a line each); `draw` draws; `limits` says where the
equations end; `refrigerants` and `solubility` are the substances; `suits` chooses families; `check` tells what follows
and what contradicts a settings file; `template` writes the file that explains itself.

How to add a key: see `keys`. How to add a refrigerant: `tabulate`, and its class and oils in `oils`.
"""

from replay.machine.file import MachineFile, machine_from, read_machine

__all__ = ["MachineFile", "machine_from", "read_machine"]
