"""One archive with what a firmware team takes: files for the target, vectors, licence, and a manifest of all of it.

Every file that can carry a comment begins with licence, version and digest of the logic; `MANIFEST.json` has
the SHA-256 of every file. The same logic and settings give the same bytes.
"""

import hashlib
import io
import json
import re
import zipfile
from pathlib import Path

import firmware_ref
import protect
from firmware_ref.digest import layout, logic_digest
from firmware_ref.release import licence, licence_text, version
from replay.ground.files import check_writable, write_whole
from replay.port.export import export_settings
from replay.port.vectors import build
from replay.settings import Settings

PORT = Path(firmware_ref.__file__).parent
TAKEN = (
    "README.md",
    "SIZES.md",
    "CMakeLists.txt",
    "c/*.[ch]",
    "example/*.[ch]",
    "host/host_port.c",
    "st/*.st",
    "micropython/[a-z]*.py",
)
COMMENTS = {".c": "/* {} */", ".h": "/* {} */", ".py": "# {}", ".txt": "# {}", ".md": "<!-- {} -->", ".st": "(* {} *)"}
LINK = re.compile(r"\[([^\]]*)\]\((\.\./[^)]*|proof)\)")  # to what is not taken
EXPORTED = {"settings.c": "c", "board_settings.py": "micropython", "site.st": "st", "settings.json": "json"}
EARLIEST = (1980, 1, 1, 0, 0, 0)  # that a zip file can tell; the time of making would make every archive another one


def stamped(name: str, text: str) -> str:
    """Return a text of the archive under a line that says licence, version and logic."""
    said = f"SPDX-License-Identifier: {licence()}; lubetrip {version()}, logic {logic_digest()}"
    return f"{COMMENTS[Path(name).suffix].format(said)}\n{text}"


def source_files(settings: Settings | None = None) -> dict[str, bytes]:
    """Return the files of the archive by name; with settings, these exported in every form."""
    texts = {str(path.relative_to(PORT)): path.read_text("utf-8") for glob in TAKEN for path in sorted(PORT.glob(glob))}
    texts |= {
        f"protect/{path.name}": path.read_text("utf-8") for path in sorted(Path(protect.__file__).parent.glob("*.py"))
    }
    texts["README.md"] = LINK.sub(r"\1", texts["README.md"])
    plain = {"LICENSE": licence_text()}
    if settings is not None:
        exported = {name: export_settings(settings, form) for name, form in EXPORTED.items()}
        plain["settings.json"] = exported.pop("settings.json")
        texts |= exported
    vectors = build()
    plain["vectors/vectors.txt"] = vectors.text()
    files = {name: text.encode() for name, text in (plain | {n: stamped(n, t) for n, t in texts.items()}).items()}
    files["vectors/vectors.bin"] = vectors.binary()
    manifest = {
        "name": "lubetrip",
        "version": version(),
        "license": licence(),
        "logic": logic_digest(),
        "layout": layout(),
        "vectors": vectors.digest,
        "settings": settings.digest if settings is not None else None,
        "files": {name: hashlib.sha256(content).hexdigest() for name, content in sorted(files.items())},
    }
    return {"MANIFEST.json": (json.dumps(manifest, indent=1) + "\n").encode(), **dict(sorted(files.items()))}


def write_sources(out: Path, settings: Settings | None = None) -> dict[str, bytes]:
    """Write the archive, a zip file, whole or not at all; return its files by name.

    settings: exported along, so that the example builds at once. Raises Refusal for a file that cannot be written.
    """
    check_writable(out)
    files, content = source_files(settings), io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files.items():
            info = zipfile.ZipInfo(f"lubetrip-{version()}/{name}", EARLIEST)
            info.compress_type, info.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
            archive.writestr(info, text)
    write_whole(out, lambda stream: stream.write(content.getvalue()))
    return files
