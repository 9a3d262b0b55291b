"""How every picture looks: white ground, dark text, thin grid; told apart by colour, line style and marker alike."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from traceanalyze.errors import OutputError, shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK = "#1a1a1a"
GRID = "#d0d0d0"
#: For lines that form a background.
FAINT = "#8a8a8a"
#: Font sizes for a sheet held in sunlight.
TEXT_SIZE = 10
#: Room for a scale above axes [in]: ticks, numbers and a label of that size.
SCALE_IN = 0.47
#: Fixed, so that the same input gives the same bytes.
RC: dict[Any, Any] = {
    "svg.hashsalt": "traceanalyze",
    "svg.fonttype": "path",
    "pdf.fonttype": 42,
    "font.size": TEXT_SIZE,
    "font.family": "DejaVu Sans",
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.parse_math": False,
    "path.simplify": True,
}


@dataclass(frozen=True, slots=True)
class Look:
    """How one setup is drawn: never by colour alone."""

    color: str
    dashes: str | tuple[int, tuple[int, ...]]
    marker: str


#: Okabe & Ito, 'Color Universal Design' (2008): blue and vermillion first; the two differ little in grey print, hence
#: the line style and the marker.
LOOKS = (
    Look("#0072B2", "-", "o"),
    Look("#D55E00", (0, (6, 2)), "s"),
    Look("#000000", (0, (1, 1)), "^"),
    Look("#009E73", (0, (6, 2, 1, 2)), "D"),
    Look("#CC79A7", (0, (3, 1, 1, 1, 1, 1)), "v"),
)


def look(k: int) -> Look:
    """Return the look of the k-th setup (they repeat after five)."""
    return LOOKS[k % len(LOOKS)]


def plain(label: str) -> str:
    """Return a name as text to be drawn: harmless characters only, never read as mathematics."""
    return shown(label)


def halo() -> list[Any]:
    """Return the effect that keeps small text readable on top of lines: a white rim."""
    from matplotlib.patheffects import withStroke

    return [withStroke(linewidth=2.2, foreground="white")]


def new_figure(width_in: float, height_in: float) -> Figure:
    """Return an empty figure with the house style, for a canvas without a screen."""
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with mpl.rc_context(RC):
        figure = Figure(figsize=(width_in, height_in), dpi=110, facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def dress(ax: Axes, *, title: str, xlabel: str, ylabel: str) -> Axes:
    """Give axes their title, units and grid."""
    titled(ax, title)
    ax.set_xlabel(xlabel)
    ax.set_ylabel(ylabel)
    ax.grid(True, color=GRID, linewidth=0.6)
    ax.set_axisbelow(True)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    return ax


def titled(ax: Axes, title: str, *, above_in: float = 0.0) -> None:
    """Set the title at the left, `above_in` [in] higher when something stands between."""
    pad = 6 + 72 * above_in
    ax.set_title(title, loc="left", y=1.0, pad=pad, fontsize=TEXT_SIZE + 1, parse_math=False)


#: File endings and what is written for them; metadata without dates keeps outputs reproducible.
_METADATA: dict[str, dict[str, Any]] = {
    "png": {"Software": "traceanalyze"},
    "svg": {"Date": None, "Creator": "traceanalyze"},
    "pdf": {"CreationDate": None, "Creator": "traceanalyze", "Producer": None},
}
#: How hard PNG is squeezed.
_PNG_LEVEL = 3


def picture_bytes(figure: Figure, kind: str) -> bytes:
    """Return a drawn figure as PNG, SVG or PDF bytes; the same figure always gives the same bytes."""
    import io
    import warnings

    import matplotlib as mpl

    buffer = io.BytesIO()
    with mpl.rc_context(RC), warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph", UserWarning)  # a sign that the font lacks is drawn as a box
        if kind == "png":  # at once; `savefig` draws everything twice
            canvas: Any = figure.canvas
            canvas.print_png(buffer, metadata=_METADATA[kind], pil_kwargs={"compress_level": _PNG_LEVEL})
        else:
            figure.savefig(buffer, format=kind, metadata=_METADATA[kind])
    return buffer.getvalue()


def picture_kind(path: Path) -> str:
    """Return `png`, `svg` or `pdf` by the ending of a path.

    Raises
    ------
    OutputError
        For any other ending.
    """
    kind = path.suffix.lower().lstrip(".")
    if kind not in _METADATA:
        raise OutputError("a picture is written as PNG, SVG or PDF", where=str(path), advice="end the name in .png")
    return kind
