"""The C port as a WebAssembly module: found, and held to be made from the C sources that are installed."""

import hashlib
import re
from pathlib import Path

from replay.engine.c_port import PORT, firmware_folder, sources
from replay.ground.json_files import read_json
from replay.ground.refusal import or_refuse, refusal
from replay.ground.shape import Key, Keys, fit, text

SOURCE, MODULE, BUILT = "page_port.c", "lubetrip.wasm", "built.json"


def folder() -> Path:
    """Return the folder of the module. Raises Refusal where the C port is not installed."""
    return firmware_folder() / "wasm"


def sources_digest() -> str:
    """Return the SHA-256 over all C sources of the module, without comments and layout, which change no byte of it."""
    port, runner = sources()
    paths = [port, runner, *(port.with_name(name) for name in PORT[1:]), folder() / SOURCE]
    texts = [re.sub(r"/\*.*?\*/", " ", path.read_text(encoding="utf-8"), flags=re.DOTALL) for path in paths]
    return hashlib.sha256("\n".join(" ".join(text.split()) for text in texts).encode()).hexdigest()


def module() -> bytes:
    """Return the module. Raises Refusal for one that is missing or not made from the sources beside it."""
    path = folder() / MODULE
    accepted = "the module that `python -m replay.page.build_wasm` builds"
    with or_refuse(path, "read", accepted):
        content = path.read_bytes()
    record, keys = path.with_name(BUILT), Keys({"sources": Key(text), "module": Key(text)}, loose=True)
    built = fit(record, read_json(record, accepted), keys, accepted=accepted)
    if built["sources"] != sources_digest():
        raise refusal(path, "", "not made from the C sources that are installed", accepted)
    if built["module"] != hashlib.sha256(content).hexdigest():
        raise refusal(path, "", "not the module that was built", accepted)
    return content
