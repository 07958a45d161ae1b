"""The page as templates: what stands where. All text put into them is escaped, but drawings made here."""

import functools
from typing import Any

from markupsafe import Markup


def page(filled: Any, name: str = "page.html.j2") -> str:
    """Return a page filled with contents."""
    return str(_templates().get_template(name).render(page=filled))


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
