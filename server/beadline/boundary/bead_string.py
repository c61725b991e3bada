"""Where each bead of a bed's string lies: one bead a cycle, drawn before any script runs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

WIDTH, HEIGHT = 480.0, 46.0
THREAD_Y = 31.0
MOST_BEADS = 240
WIDEST_STEP = 7.2
DENSE_STEP = 4.0
EDGE = 6.0
WORDS = {
    "watch": "past the alert limit",
    "act": "past the action limit",
    "void": "not usable",
    "out": "excluded",
}


class Bead(Protocol):
    """What a bead has to say: its cycle, its drift in baseline standard deviations, its kind; hashable."""

    @property
    def cycle(self) -> int: ...

    @property
    def drift(self) -> float | None: ...

    @property
    def kind(self) -> str: ...


@dataclass(frozen=True, slots=True)
class Drawing:
    """SVG path data, one path for all beads of a shape, so that a string of 200 stays light."""

    thread: str
    rings: dict[str, str]
    fills: dict[str, str]
    crosses: str
    struck: str
    dense: bool
    title: str


def height_of(drift: float) -> float:
    """Return where a drift is drawn; large drifts are squeezed so that one scale serves every bed.

    Examples
    --------
    >>> round(height_of(0.0), 1), round(height_of(3.0), 1), round(height_of(1000.0), 1)
    (31.0, 18.3, 5.0)
    """
    return max(5.0, min(HEIGHT - 4.0, THREAD_Y - 7.0 * math.asinh(drift)))


def draw(beads: Sequence[Bead], most: int = MOST_BEADS) -> Drawing:
    """Lay the beads of a bed along its thread; of very long lives only so many, the last ones."""
    return _draw(tuple(beads), most)


@lru_cache(maxsize=2048)
def _draw(beads: tuple[Bead, ...], most: int) -> Drawing:
    """Draw once what many pages show: most beds have no new bead since the last look."""
    shown = beads[-most:]
    step = min(WIDEST_STEP, (WIDTH - 2 * EDGE) / max(1, len(shown) - 1))
    small, large = max(0.9, min(2.7, 0.4 * step)), max(2.2, min(3.1, 0.5 * step))
    thread, crosses, struck = "", "", ""
    rings = {"ok": "", "watch": "", "out": ""}
    fills = {"watch": "", "act": ""}
    for place, bead in enumerate(shown):
        x = EDGE + place * step
        y = THREAD_Y if bead.drift is None else height_of(bead.drift)
        if bead.kind == "void":
            crosses += _cross(x, y, large * 0.8)
            continue
        if bead.kind == "out":
            rings["out"] += _circle(x, y, large)
            struck += _cross(x, y, large * 0.7)
            continue
        thread += f"{'L' if thread else 'M'}{x:.1f} {y:.1f}"
        if bead.kind == "act":
            fills["act"] += _diamond(x, y, large * 1.25)
        elif bead.kind == "watch":
            rings["watch"] += _circle(x, y, large)
            fills["watch"] += _right_half(x, y, large)
        else:
            rings["ok"] += _circle(x, y, small)
    return Drawing(thread, rings, fills, crosses, struck, step < DENSE_STEP, _say(beads, len(shown)))


def _circle(x: float, y: float, r: float) -> str:
    return f"M{x - r:.1f} {y:.1f}a{r:.1f} {r:.1f} 0 1 0 {2 * r:.1f} 0a{r:.1f} {r:.1f} 0 1 0 {-2 * r:.1f} 0z"


def _right_half(x: float, y: float, r: float) -> str:
    return f"M{x:.1f} {y - r:.1f}a{r:.1f} {r:.1f} 0 0 1 0 {2 * r:.1f}z"


def _diamond(x: float, y: float, r: float) -> str:
    return f"M{x:.1f} {y - r:.1f}l{r:.1f} {r:.1f}l{-r:.1f} {r:.1f}l{-r:.1f} {-r:.1f}z"


def _cross(x: float, y: float, r: float) -> str:
    return f"M{x - r:.1f} {y - r:.1f}l{2 * r:.1f} {2 * r:.1f}m0 {-2 * r:.1f}l{-2 * r:.1f} {2 * r:.1f}"


def _say(beads: Sequence[Bead], shown: int) -> str:
    """Say in words what the string shows, for those who can't see it."""
    if not beads:
        return "No cycles yet."
    counts = {kind: sum(bead.kind == kind for bead in beads) for kind in WORDS}
    said = [f"{count} {WORDS[kind]}" for kind, count in counts.items() if count]
    last = next((bead for bead in reversed(beads) if bead.drift is not None), None)
    tail = f" Drift at cycle {last.cycle}: {last.drift:.1f} baseline standard deviations." if last else ""
    part = f", the last {shown} drawn" if shown < len(beads) else ""
    cycles = "1 cycle" if len(beads) == 1 else f"{len(beads)} cycles"
    return f"{cycles}{part}; {', '.join(said) or 'all in limits'}.{tail}"
