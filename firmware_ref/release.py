"""What this release is called and what it is licensed under, as the package says it."""

import importlib.metadata
from pathlib import Path


def version() -> str:
    """Return the version."""
    return importlib.metadata.version("lubetrip")


def licence() -> str:
    """Return the SPDX identifier of the licence."""
    return importlib.metadata.metadata("lubetrip")["License-Expression"]


def licence_text() -> str:
    """Return the text of the licence: of the installed package, or of the checkout that it was built from."""
    installed = importlib.metadata.distribution("lubetrip").read_text("licenses/LICENSE")
    return installed or (Path(__file__).parents[1] / "LICENSE").read_text(encoding="utf-8")
