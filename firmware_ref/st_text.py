"""The logic as one file of IEC 61131-3 Structured Text: the functions of `protect`, and the block around them."""

import importlib
import inspect

from firmware_ref.digest import layout, logic_digest
from firmware_ref.release import licence, version
from firmware_ref.st_functions import ALIASES, RESERVED, WORDS, Text, array_type, section, wrapped
from protect import outputs, ranges, settings, state

ENTRIES = (
    ("settings", "first_fault"),
    ("settings", "derive"),
    ("state", "power_up"),
    ("protection", "step"),
    ("saved", "fill"),
    ("saved", "recall"),
    ("saved", "next_number"),
    ("seal", "seal_state"),
    ("seal", "seal_settings"),
    ("seal", "seals_hold"),
    ("seal", "sealed_step"),
)
SAVE_MS = 60_000  # time between saved records while nothing changes; assumed
TRUTHS = frozenset({"run_permission", "alarm"})  # outputs that are BOOL

HEAD = """\
(* SPDX-License-Identifier: {licence}
   Lubrication protection of a reciprocating refrigeration compressor, IEC 61131-3 Structured Text.
   Written by `python -m firmware_ref.generate` from the reference in protect/; do not edit.
   version {version}
   logic {logic}

   Every vector, saved record and sealed step was run through it by an interpreter of the part of the language that it
   uses, and two grammars of the language read it. It was never compiled by a vendor's tool and never run on a
   controller. It wants DINT and UDINT that wrap, as two's complement does, and functions with VAR_IN_OUT, as edition 3
   of the standard has them.
   Not a certified safety device and never the only protection of a machine or of the people near it. *)
"""

ELAPSED = """\
(* Milliseconds from `before` to `now` of a free-running 32-bit millisecond counter, across any wrap. *)
FUNCTION LT_elapsed_ms : DINT
VAR_INPUT
    now : UDINT;
    before : UDINT;
END_VAR
VAR
    elapsed : UDINT;
END_VAR
    elapsed := now - before;
    IF elapsed > UDINT#{most} THEN
        elapsed := UDINT#{most};
    END_IF;
    LT_elapsed_ms := UDINT_TO_DINT(elapsed);
END_FUNCTION
"""

# The caller gives elapsed time as LT_elapsed_ms has it; the first call is the power-up.
BLOCK = """\
(* One machine under protection: one call in every cycle of a task at a fixed pace, with the time that LT_elapsed_ms
   tells. The first call loads the settings that `lubetrip export --to st` wrote and the newer good record;
   without one it comes up locked out. Settings exported for another layout or another logic, or that are not admitted,
   give no run permission, and the alarm. The records have to be kept where power is lost (VAR RETAIN of the caller);
   nothing else may write them. *)
FUNCTION_BLOCK LUBETRIP
{interface}
    IF NOT started THEN
        started := TRUE;
        usable := LT_site_settings(layout := W_LAYOUT, logic := W_LOGIC, settings := settings);
        IF usable THEN
            usable := (LT_settings_first_fault(settings := settings) = K_ALL_RIGHT);
        END_IF;
        IF usable THEN
            done := LT_seal_seal_settings(settings := settings, seals := seals);
            record_number := LT_saved_recall({recalled});
            done := LT_seal_seal_state(state := state, seals := seals);
            saved_state := state[K_STATE];
            saved_trips := state[K_TRIPS];
        END_IF;
    END_IF;
    IF NOT usable THEN
        run_permission := FALSE;
        alarm := TRUE;
        RETURN;
    END_IF;
{filled}
    done := LT_seal_sealed_step({stepped});
{given}
    since_saved := since_saved + outputs[K_SEEN] + outputs[K_DOUBTED];
    due := (since_saved >= K_SAVE_MS) OR (saved_trips <> state[K_TRIPS]);
    due := due OR ((saved_state <> state[K_STATE]) AND ((saved_state >= K_TRIPPED) OR (state[K_STATE] >= K_TRIPPED)));
    IF due AND LT_seal_seals_hold(state := state, settings := settings, seals := seals) THEN
        record_number := LT_saved_next_number(number := record_number);
        IF (DINT_TO_DWORD(record_number) AND DWORD#16#1) = DWORD#16#0 THEN
            done := LT_saved_fill(record := first_record, {saved});
        ELSE
            done := LT_saved_fill(record := second_record, {saved});
        END_IF;
        saved_state := state[K_STATE];
        saved_trips := state[K_TRIPS];
        since_saved := 0;
    END_IF;
END_FUNCTION_BLOCK
"""


def output_names() -> list[str]:
    """Return the names of the outputs, in the order of their places."""
    names = list(vars(outputs))
    return [name.lower() for name in names[names.index("RUN_PERMISSION") : names.index("OUTPUTS_SIZE")]]


def _given_to(*names: str) -> str:
    return ", ".join(f"{name} := {name}" for name in names)


def block() -> str:
    """Return the function block: names and number of its inputs and outputs as `protect` has them."""
    results = output_names()
    kinds = {row[0]: "BOOL" if row[2:] == (0, 1) else "DINT" for row in ranges.INPUTS}
    interface = section("VAR_INPUT", kinds)
    interface += section("VAR_OUTPUT", {name: "BOOL" if name in TRUTHS else "DINT" for name in results})
    interface += section("VAR_IN_OUT", dict.fromkeys(("first_record", "second_record"), array_type("record")))
    words = {f"the_{n}" if n in RESERVED else n: array_type(n) for n in WORDS if n not in {"record", "crc"}}
    truths = dict.fromkeys(("started", "usable", "done", "due"), "BOOL")
    interface += section(
        "VAR", words | truths | dict.fromkeys(("record_number", "saved_state", "saved_trips", "since_saved"), "DINT")
    )
    numbers = {
        "STATE": state.STATE,
        "TRIPPED": state.TRIPPED,
        "TRIPS": state.TRIPS,
        "SEEN": outputs.SEEN,
        "DOUBTED": outputs.DOUBTED,
        "ALL_RIGHT": settings.ALL_RIGHT,
        "SAVE_MS": SAVE_MS,
    }
    digests = {"W_LAYOUT": layout(), "W_LOGIC": logic_digest()[:8]}
    constants = {name: f"DWORD := 16#{digits.upper()}" for name, digits in digests.items()}
    constants |= {f"K_{name}": f"DINT := {value}" for name, value in numbers.items()}
    interface += section("VAR CONSTANT", constants)
    filled = [f"BOOL_TO_DINT({name})" if kind == "BOOL" else name for name, kind in kinds.items()]
    given = [f"(outputs[{n}] <> 0)" if name in TRUTHS else f"outputs[{n}]" for n, name in enumerate(results)]
    text = BLOCK.format(
        interface="\n".join(interface),
        recalled=f"{_given_to('state', 'settings')}, first := first_record, second := second_record",
        stepped=_given_to("state", "settings", "inputs", "outputs", "seals"),
        saved=f"number := record_number, {_given_to('settings', 'state')}",
        filled="\n".join(f"    inputs[{number}] := {text};" for number, text in enumerate(filled)),
        given="\n".join(f"    {name} := {text};" for name, text in zip(results, given, strict=True)),
    )
    return "".join(f"{part}\n" for line in text.splitlines() for part in wrapped(line))


def functions() -> dict[str, str]:
    """Return the functions by name, those that are used first; raise UnknownFormError for what cannot be translated."""
    whole = Text()
    for module, name in ENTRIES:
        function = getattr(importlib.import_module(f"protect.{module}"), name)
        parameters = inspect.signature(function).parameters.items()
        arrays = [ALIASES.get(n, n) for n, parameter in parameters if parameter.annotation == list[int]]
        whole.call(function, tuple(arrays))
    return whole.functions


def structured_text() -> str:
    """Return the whole file."""
    head = HEAD.format(logic=logic_digest(), version=version(), licence=licence())
    return "\n".join((head, *functions().values(), ELAPSED.format(most=ranges.INPUTS[ranges.ELAPSED][3]), block()))
