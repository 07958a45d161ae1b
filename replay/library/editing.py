"""library.toml as text: an entry is written, changed or taken out, and all else stays as it is, comments too.

A library may have many thousand entries, and an editor that keeps the spelling of a TOML file takes seconds for so
many. So only the text of the entry at hand goes through it; that the rest stayed what it was is read from the result.
"""

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from pathlib import Path
from typing import Any

from replay.ground.refusal import refusal
from replay.ground.toml_files import NotTomlError, parse_toml

BOM = "\ufeff"
_HEAD = re.compile(r"""^[ \t]*\[\[[ \t]*(?:trace|"trace"|'trace')[ \t]*\]\]""", re.MULTILINE)
_BEHIND = re.compile(r"(?:[ \t]*(?:#[^\n]*)?\n)*\Z")  # comments and blank lines at the end of an entry

Table = dict[str, Any]


def entry_text(item: Mapping[str, Any]) -> str:
    """Return an entry as a [[trace]] table; windows of a label are inline tables, lists stand in one line."""
    return "[[trace]]\n" + "".join(f"{key} = {_value(value)}\n" for key, value in item.items())


def _value(value: Any) -> str:
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_value(item)}" for key, item in value.items()) + "}"
    import tomlkit

    if isinstance(value, str):
        return tomlkit.string(value, multiline="\n" in value).as_string()
    return str(tomlkit.item(value).as_string())


def change_entries(
    path: Path, text: str, traces: Sequence[Table], changes: Mapping[str, Callable[[Any], None]]
) -> tuple[str, list[Table]]:
    """Return the text of a library.toml in which tables of traces are changed, by their ids, and what all are now.

    traces: what the text says of all of them; a change is given its table as tomlkit has it. Raises Refusal where the
    result would not be that library with other entries there.
    """
    places = {place: changes[item["id"]] for place, item in enumerate(traces) if item["id"] in changes}
    blocks = _blocks(text, len(traces))
    if blocks:
        parts, reached = [], 0
        for place, change in places.items():
            begin, end = blocks[place]
            document = _document(path, text[begin:end])
            change(document["trace"][0])
            parts += [text[reached:begin], _as_before(text[begin:end], document)]
            reached = end
        changed = "".join([*parts, text[reached:]])
        if (found := _with_others(changed, traces, places)) is not None:
            return changed, found
    document = _document(path, text)
    for place, change in places.items():
        change(document["trace"][place])
    changed = _as_before(text, document)
    if (found := _with_others(changed, traces, places)) is None:
        raise refusal(path, "", "cannot be edited by a program", "change the entry by hand")
    return changed, found


def without_entries(path: Path, text: str, identities: Collection[str]) -> str:
    """Return the text of a library.toml without some traces; comments behind a blank line belong to the next.

    Raises Refusal.
    """
    traces = _found(text)
    if traces is None:
        raise refusal(path, "", "not valid TOML", "a library that can be read")
    gone = {place for place, item in enumerate(traces) if item["id"] in identities}
    left = [item for place, item in enumerate(traces) if place not in gone]
    changed = text
    for begin, end in reversed([block for place, block in enumerate(_blocks(text, len(traces))) if place in gone]):
        behind = _BEHIND.search(text, begin, end)
        kept = behind[0].partition("\n")[2] if behind and "#" in behind[0].partition("\n\n")[2] else ""
        changed = changed[:begin] + kept + changed[end:]
    if changed != text and _found(changed) == left:
        return changed
    document = _document(path, text)
    for place in sorted(gone, reverse=True):
        del document["trace"][place]
    if not left:
        del document["trace"]
    changed = _as_before(text, document)
    if _found(changed) != left:
        raise refusal(path, "", "cannot be edited by a program", "take the [[trace]] tables out by hand")
    return changed


def _blocks(text: str, count: int) -> list[tuple[int, int]]:
    """Return where the text of each entry begins and ends; none where that cannot be told from heads of tables."""
    heads = [head.start() for head in _HEAD.finditer(text)]
    return list(zip(heads, [*heads[1:], len(text)], strict=True)) if len(heads) == count else []


def _document(path: Path, text: str) -> Any:
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        return tomlkit.parse(text.removeprefix(BOM))
    except TOMLKitError as error:
        raise refusal(path, "", f"cannot be edited by a program ({error})", "change the entry by hand") from None


def _as_before(text: str, document: Any) -> str:
    """Return a document as text with the line ends and the mark at its beginning that it had."""
    import tomlkit

    written: str = tomlkit.dumps(document)
    if "\r\n" in text:
        written = re.sub("\r?\n", "\r\n", written)
    return BOM * text.startswith(BOM) + written


def _found(text: str) -> list[Table] | None:
    """Return the entries of a text, None where it is no library."""
    try:
        traces: list[Table] = parse_toml(text.removeprefix(BOM)).get("trace", [])
    except NotTomlError:
        return None
    return traces


def _with_others(text: str, traces: Sequence[Table], places: Collection[int]) -> list[Table] | None:
    """Return the entries of a text where they are these but for those at some places, which keep their ids."""
    found = _found(text)
    if found is None or len(found) != len(traces):
        return None
    pairs = enumerate(zip(found, traces, strict=True))
    kept = all(one == other or (at in places and one.get("id") == other["id"]) for at, (one, other) in pairs)
    return found if kept else None
