"""The picture of a message: a trend with its limits, drawn without any display."""

from __future__ import annotations

import io

from beadline.features.notices.schemas import Trend
from beadline.kit import words

WIDTH_IN, HEIGHT_IN, DOTS_PER_IN = 6.4, 3.0, 150
TEXT, QUIET, DATA, ALERT, ACTION, SHEET = "#14222a", "#4b5b62", "#14636c", "#8a5600", "#a42f22", "#fffefb"
MARGIN = 0.12


def described(trend: Trend) -> str:
    """Say in words what the picture shows."""
    newest = words.number(trend.values[-1], 3) if trend.values else "unknown"
    return (
        f"{trend.title} over {len(trend.values)} cycles. Baseline {words.number(trend.centre, 3)}, "
        f"now {newest}; the change began about cycle {trend.since_cycle}."
    )


def draw(trend: Trend) -> bytes:
    """Return the trend as PNG."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # heavy; only who sends a mail needs it
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator

    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), dpi=DOTS_PER_IN, facecolor=SHEET, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot(facecolor=SHEET)
    lines = [(trend.centre, QUIET, "baseline", "-")]
    lines += [(limit, ALERT, "alert limit", "--") for limit in trend.alert if limit is not None]
    lines += [(limit, ACTION, "action limit", "-.") for limit in trend.action if limit is not None]
    for height, colour, name, dashes in lines:
        axes.axhline(height, color=colour, linewidth=1, linestyle=dashes)
        axes.annotate(
            name, (1.01, height), xycoords=("axes fraction", "data"), color=colour, fontsize=7.5, va="center"
        )
    axes.axvline(trend.since_cycle - 0.5, color=QUIET, linewidth=0.8, linestyle=":")
    axes.annotate(
        "began about here",
        (trend.since_cycle - 0.5, 1.02),
        xycoords=("data", "axes fraction"),
        color=QUIET,
        fontsize=7.5,
        ha="center",
    )
    axes.plot(trend.cycles, trend.values, color=DATA, marker="o", markersize=3, linewidth=1)
    heights = [*trend.values, *(line[0] for line in lines)]
    room = MARGIN * (max(heights) - min(heights) or abs(trend.centre) or 1.0)
    axes.set_ylim(min(heights) - room, max(heights) + room)
    axes.set_title(trend.title, loc="left", fontsize=9.5, color=TEXT, pad=16)
    axes.set_xlabel("cycle", fontsize=8.5, color=QUIET)
    axes.tick_params(labelsize=8, colors=QUIET)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    png = io.BytesIO()
    figure.savefig(png, format="png")
    return png.getvalue()
