"""Where the firmware's files are: in the wheel, or beside the host in a checkout."""

from importlib.resources import files
from pathlib import Path


def firmware_folder() -> Path:
    """The folder that is copied to a board as it is."""
    package = Path(str(files("pullcurve")))
    shipped = package / "_firmware"
    return shipped if shipped.is_dir() else package.parents[1] / "firmware"
