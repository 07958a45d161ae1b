"""The page as templates: what stands where. All text put into them is escaped, but drawings made here."""

import base64
import functools
import hashlib
from pathlib import Path
from typing import Any

from markupsafe import Markup


def page(filled: Any, name: str = "page.html.j2") -> str:
    """Return a page filled with contents."""
    return str(_templates().get_template(name).render(page=filled))


def script(name: str) -> dict[str, str]:
    """Return a script of this folder, and the digest under which the page may run it and no other."""
    text = (Path(__file__).parent / name).read_text(encoding="utf-8")
    return {"script": text, "script_digest": base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")}


def table(filled: Any) -> Markup:
    """Return one table."""
    return Markup(_templates().get_template("parts.html.j2").module.table(filled))  # noqa: S704 - escaped there


@functools.cache
def _templates() -> Any:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("replay.report"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
