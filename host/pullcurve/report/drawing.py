"""The hand that draws all pictures: black ink on white and one accent.

Whatever colour says, a pattern, number or word says too.
"""

from io import BytesIO
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

INK: Final = "black"
ACCENT: Final = "#0072B2"  # blue of Okabe and Ito's colour-blind-safe palette (from memory)
SHADE: Final = "#d6e7f2"  # the accent, pale enough for black ink and a fax
GREY: Final = "#666666"
WIDTH_IN: Final = 7.0
NARROW_IN: Final = 4.0  # shown on a phone about as wide as it is: its letters stay readable
LETTERS_AN_INCH: Final = 14.8  # of a title
_PNG_DPI: Final = 200
_PNG_COMPRESSION: Final = 1  # zlib's: more costs three times the time for a tenth of the size
STYLE: Final[Any] = {
    "font.family": ["DejaVu Sans"],  # comes with matplotlib, so a picture is the same everywhere
    "font.size": 9,
    "axes.titlesize": 9,
    "axes.titlelocation": "left",
    "axes.titlepad": 10,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.8,
    "axes.unicode_minus": True,
    "lines.linewidth": 1.0,
    "hatch.linewidth": 0.5,
    "svg.fonttype": "path",
    "svg.hashsalt": "pullcurve",
}


def svg(figure: Figure) -> bytes:
    """The figure as SVG, the same bytes for the same figure."""
    buffer = BytesIO()
    with mpl.rc_context(STYLE):
        nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
        figure.savefig(buffer, format="svg", metadata=nothing)
    return buffer.getvalue()


def png(figure: Figure) -> bytes:
    buffer = BytesIO()
    with mpl.rc_context(STYLE):
        figure.savefig(
            buffer,
            format="png",
            dpi=_PNG_DPI,
            metadata={"Software": None},
            pil_kwargs={"compress_level": _PNG_COMPRESSION},
        )
    return buffer.getvalue()


def numbers(values: tuple[float | None, ...]) -> NDArray[np.float64]:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
