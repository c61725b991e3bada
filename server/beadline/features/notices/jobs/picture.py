"""The pictures of a message, drawn without a display: a trend with its limits, a curve over the baseline."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from beadline.features.drift.schemas import CycleCurve
from beadline.features.notices.schemas import Trend
from beadline.kit import drawing, words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_IN, HEIGHT_IN, DOTS_PER_IN = 6.4, 3.0, 150
TEXT, QUIET, DATA, ALERT, ACTION, SHEET = "#14222a", "#4b5b62", "#14636c", "#8a5600", "#a42f22", "#fffefb"
PALE = "#bcd8d8"
MARGIN = 0.12


def described(trend: Trend) -> str:
    """Say in words what the picture shows."""
    newest = words.number(trend.values[-1], 3) if trend.values else "unknown"
    return (
        f"{trend.title} over {len(trend.values)} cycles. Baseline {words.number(trend.centre, 3)}, "
        f"now {newest}; the change began about cycle {trend.since_cycle}."
    )


def described_curve(curve: CycleCurve) -> str:
    """Say in words what the picture of a curve shows."""
    around = ", over the curves of the baseline" if curve.view.envelope_low else ""
    return f"Curve of {curve.view.transition} in cycle {curve.cycle}{around}; below it its slope."


def draw(trend: Trend) -> bytes:
    """Return the trend as PNG."""
    from matplotlib.ticker import MaxNLocator

    figure = _figure()
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
    _dress(axes, trend.title, "cycle", pad=16)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    return _png(figure)


def draw_curve(curve: CycleCurve) -> bytes:
    """Return the curve and its slope as PNG."""
    view = curve.view
    figure = _figure()
    upper, lower = figure.subplots(2, 1, sharex=True, subplot_kw={"facecolor": SHEET})
    if view.envelope_low:
        upper.fill_between(view.grid_cv, view.envelope_low, view.envelope_high, color=PALE, linewidth=0)
        lower.plot(view.grid_cv, view.baseline_density_per_cv, color=QUIET, linewidth=0.8)
    upper.plot(view.grid_cv, view.fraction, color=DATA, linewidth=1.3)
    lower.plot(view.grid_cv, view.density_per_cv, color=DATA, linewidth=1.3)
    first, last = drawing.steep(view.fraction)
    lower.set_xlim(view.grid_cv[first], view.grid_cv[last - 1])
    _dress(upper, f"{view.transition}, cycle {curve.cycle}: share of the step", "", pad=6)
    _dress(lower, "slope, 1/CV", "volume from the switch, CV", pad=6)
    return _png(figure)


def _figure() -> Figure:
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # heavy; only who sends a mail needs it
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), dpi=DOTS_PER_IN, facecolor=SHEET, layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def _dress(axes: Axes, title: str, x_title: str, *, pad: float) -> None:
    axes.set_title(title, loc="left", fontsize=9.5, color=TEXT, pad=pad)
    axes.set_xlabel(x_title, fontsize=8.5, color=QUIET)
    axes.tick_params(labelsize=8, colors=QUIET)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _png(figure: Figure) -> bytes:
    png = io.BytesIO()
    figure.savefig(png, format="png")
    return png.getvalue()
