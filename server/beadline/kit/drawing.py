"""Pictures for paper: panels of points, lines, bands and limits in, SVG out; ink and one colour."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from io import StringIO
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK, QUIET, DATA, PALE = "#14222a", "#4b5b62", "#14636c", "#bcd8d8"
WIDTH_IN, LEFT_IN, WITHIN_IN, FOOT_IN, HEAD_IN = 6.7, 0.55, 5.75, 0.38, 0.25
SIDE_ROOM, ROOM = 0.02, 0.08  # share of the axes left free at both ends
MARKS_IN, CHARACTER = 0.12, 0.01  # room for the names of marks; a letter's width as a share of the axis
NAME = 0.15  # height of a limit's name as a share of the axis
STEEP = (0.002, 0.998)  # shares of the step between which a curve is looked at
AROUND = 0.5  # and how much more is shown at both sides, as a share of that width
DASHES = {"alert": (0, (4, 2)), "action": "solid"}

Look = Literal["ink", "data", "thin"]


@dataclass(frozen=True, slots=True)
class Series:
    """Places of points or of a line's corners, and how the line looks."""

    x: Sequence[float]
    y: Sequence[float]
    look: Look = "ink"


@dataclass(frozen=True, slots=True)
class Limit:
    """A level that must not be passed; its name stands beside it, on the side that is out."""

    name: Literal["alert", "action"]
    at: float
    upper: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One diagram.

    Attributes
    ----------
    rings, filled : Series or None
        Points as rings; points that stand out, filled.
    band : tuple or None
        Places, lower and upper edge of what is shaded.
    marks : tuple of (float, str)
        Places on the horizontal axis that have a name.
    counted : bool
        Whether the horizontal axis counts in whole numbers.
    """

    title: str
    x_title: str = ""
    rings: Series | None = None
    filled: Series | None = None
    lines: tuple[Series, ...] = ()
    band: tuple[Sequence[float], Sequence[float], Sequence[float]] | None = None
    limits: tuple[Limit, ...] = ()
    marks: tuple[tuple[float, str], ...] = ()
    counted: bool = False


def limits_of(alert: Sequence[float | None], action: Sequence[float | None]) -> tuple[Limit, ...]:
    """Return the limits that are set of a lower and an upper one for alert and action.

    Examples
    --------
    >>> [(one.name, one.at, one.upper) for one in limits_of((None, 1.5), (0.8, None))]
    [('alert', 1.5, True), ('action', 0.8, False)]
    """
    named: tuple[tuple[Literal["alert", "action"], Sequence[float | None]], ...]
    named = (("alert", alert), ("action", action))
    return tuple(
        Limit(name, at, upper)
        for name, pair in named
        for at, upper in zip(pair, (False, True), strict=True)
        if at is not None
    )


def curve_panels(
    *,
    title: str,
    grid: Sequence[float],
    fraction: Sequence[float],
    low: Sequence[float],
    high: Sequence[float],
    density: Sequence[float],
    baseline: Sequence[float],
) -> list[Panel]:
    """Return a transition's curve over the envelope of its baseline, and its slope over the mean slope.

    Volumes in CV; empty where there is no baseline yet.
    """
    first, last = steep(fraction)
    grid, fraction, density = (each[first:last] for each in (grid, fraction, density))
    low, high, baseline = (each[first:last] for each in (low, high, baseline))
    mean = (Series(grid, baseline, "thin"),) if baseline else ()
    return [
        Panel(
            title=f"{title}: share of the step",
            lines=(Series(grid, fraction, "data"),),
            band=(grid, low, high) if low else None,
        ),
        Panel(
            title="Slope, 1/CV",
            x_title="volume from the switch, CV",
            lines=(*mean, Series(grid, density, "data")),
        ),
    ]


def steep(fraction: Sequence[float]) -> tuple[int, int]:
    """Return the part of a curve in which something happens, with some of what lies around it.

    Examples
    --------
    >>> steep([0.0, 0.0, 0.0, 0.2, 0.8, 0.9, 1.0, 1.0, 1.0])
    (1, 7)
    """
    within = [i for i, share in enumerate(fraction) if STEEP[0] < share < STEEP[1]]
    if not within:
        return 0, len(fraction)
    room = int(AROUND * (within[-1] - within[0])) + 1
    return max(0, within[0] - room), min(len(fraction), within[-1] + room)


def svgs(panels: Sequence[Panel], *, height_in: float) -> list[str]:
    """Draw panels over one horizontal axis, each as a picture of its own, so that a page may end between."""
    import matplotlib as mpl  # here, since it would slow every start

    ends = [end for panel in panels for end in _ends(panel)] or [0.0]
    room = SIDE_ROOM * ((max(ends) - min(ends)) or 1.0)
    with mpl.rc_context({"svg.hashsalt": "beadline", "font.size": 7.5, "text.parse_math": False}):
        return [_svg(panel, height_in, min(ends) - room, max(ends) + room) for panel in panels]


def _ends(panel: Panel) -> Iterator[float]:
    for one in (panel.rings, panel.filled, *panel.lines):
        if one is not None and len(one.x):
            yield from (one.x[0], one.x[-1])


def _svg(panel: Panel, height_in: float, left: float, right: float) -> str:
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator

    head_in = HEAD_IN + (MARKS_IN if panel.marks else 0.0)
    height_in += head_in - HEAD_IN
    figure = Figure(figsize=(WIDTH_IN, height_in))
    axes = figure.add_axes(
        (LEFT_IN / WIDTH_IN, FOOT_IN / height_in, WITHIN_IN / WIDTH_IN, 1 - (FOOT_IN + head_in) / height_in)
    )
    _draw(axes, panel)
    axes.set_xlim(left, right)
    axes.xaxis.set_major_locator(MaxNLocator(integer=panel.counted))
    _mark(axes, panel.marks)
    axes.set_xlabel(panel.x_title, color=QUIET, labelpad=1)
    written = StringIO()
    figure.savefig(written, format="svg", metadata={"Date": None})
    return written.getvalue()


def _draw(axes: Axes, panel: Panel) -> None:
    pad = 14.0 if panel.marks else 6.0  # names of marks stand between title and axis
    axes.set_title(panel.title, loc="left", fontsize=8, fontweight="bold", pad=pad)
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(colors=QUIET, width=0.6)
    if panel.band:
        axes.fill_between(*panel.band, color=PALE, lw=0)
    if panel.rings:
        axes.plot(panel.rings.x, panel.rings.y, "o", ms=2.4, mfc="white", mec=DATA, mew=0.7)
    if panel.filled:
        axes.plot(panel.filled.x, panel.filled.y, "D", ms=3.0, mfc=INK, mec=INK, mew=0.7)
    for line in panel.lines:
        colour, width = {"ink": (INK, 0.9), "data": (DATA, 1.2), "thin": (QUIET, 0.6)}[line.look]
        axes.plot(line.x, line.y, color=colour, lw=width)
    _name_limits(axes, panel.limits)


def _mark(axes: Axes, marks: Sequence[tuple[float, str]]) -> None:
    """Draw places that have a name; one too close to the name before it goes without."""
    left, right = axes.get_xlim()
    free_from = left
    for place, name in sorted(marks):
        axes.axvline(place, color=QUIET, lw=0.6, ls=(0, (1, 2)))
        half = (right - left) * CHARACTER * len(name) / 2
        if place - half < free_from:
            continue
        free_from = place + half
        axes.annotate(
            name,
            (place, 1),
            xycoords=("data", "axes fraction"),
            xytext=(0, 2),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=6.5,
            color=QUIET,
        )


def _name_limits(axes: Axes, limits: Sequence[Limit]) -> None:
    """Draw limits; a name stands out from an action limit and in from an alert limit, none on another."""
    for limit in limits:
        axes.axhline(limit.at, color=INK, lw=0.7, ls=DASHES[limit.name])
    axes.margins(y=ROOM)
    bottom, top = axes.get_ylim()
    wished = sorted(
        (
            (one.at - bottom) / (top - bottom)
            + (NAME / 2 if one.upper == (one.name == "action") else -NAME / 2),
            one,
        )
        for one in sorted(limits, key=lambda one: one.at)
    )
    for place, (_, one) in zip(spread([at for at, _ in wished], least=NAME), wished, strict=True):
        axes.annotate(one.name, (1.01, place), xycoords="axes fraction", va="center", fontsize=6.5)


def spread(places: Sequence[float], *, least: float) -> list[float]:
    """Move rising places apart until each is so far from the next, about where they were.

    Examples
    --------
    >>> [round(at, 2) for at in spread([0.5, 0.5, 0.9], least=0.1)]
    [0.45, 0.55, 0.9]
    """
    groups: list[list[float]] = []
    for place in places:
        groups.append([place])
        while len(groups) > 1 and _ends_of(groups[-1], least)[0] < _ends_of(groups[-2], least)[1] + least:
            groups[-2:] = [groups[-2] + groups[-1]]
    return [_ends_of(group, least)[0] + least * i for group in groups for i in range(len(group))]


def _ends_of(group: Sequence[float], least: float) -> tuple[float, float]:
    """Return where a group that is moved apart about its middle begins and ends."""
    middle, half = sum(group) / len(group), least * (len(group) - 1) / 2
    return middle - half, middle + half
