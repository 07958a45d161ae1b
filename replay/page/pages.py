"""What pages of a browser share: one file, offline, with its script under a digest and its data as JSON."""

import base64
import hashlib
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

PAGE = Path(__file__).parent


def page_from(template: str, scripts: Sequence[str], **given: Any) -> str:
    """Return a page of a template, its style sheet and scripts of this folder; given: what else the template shows."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    script = "\n".join((PAGE / name).read_text(encoding="utf-8") for name in scripts)
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode("ascii")
    environment = Environment(loader=FileSystemLoader(PAGE), autoescape=True, undefined=StrictUndefined)
    style = (PAGE / template).with_suffix(".css").read_text(encoding="utf-8")
    return environment.get_template(template).render(style=style, script=script, script_digest=digest, **given)


def script_safe(data: dict[str, Any]) -> str:
    """Return JSON that can end no script and open no comment, whatever texts a library holds."""
    text = json.dumps(data, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
