"""The demo library: packaged as `replay/demo`, in a checkout the folder `fixtures`."""

from pathlib import Path

from replay.ground.files import check_free_folder, write_folder
from replay.ground.refusal import refusal

PACKAGED = Path(__file__).parents[1] / "demo"
IN_CHECKOUT = Path(__file__).parents[2] / "fixtures"


def demo_folder() -> Path:
    """Return the folder of the demo library. Raises Refusal where neither is there."""
    for folder in (PACKAGED, IN_CHECKOUT):
        if (folder / "library.toml").is_file():
            return folder
    raise refusal(PACKAGED, "", "the demo library is not installed", "lubetrip installed from its wheel or sdist")


def write_demo(folder: Path | str) -> None:
    """Write the demo library into a new or empty folder, whole or not at all. Raises Refusal."""
    folder = Path(folder)
    check_free_folder(folder)
    demo = demo_folder()
    paths = [demo / "library.toml", demo / "settings.toml", *sorted((demo / "traces").glob("*.csv"))]
    write_folder(folder, {path.relative_to(demo).as_posix(): path.read_bytes() for path in paths})
