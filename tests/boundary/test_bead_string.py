"""The string of beads: one bead a cycle, abnormal ones by shape, the same scale for every bed."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest

from beadline.boundary import bead_string


@dataclass(frozen=True)
class Bead:
    cycle: int
    drift: float | None
    kind: str


def string(drifts: list[float | None]) -> list[Bead]:
    return [
        Bead(i + 1, d, "void" if d is None else "act" if d > 5 else "watch" if d > 3 else "ok")
        for i, d in enumerate(drifts)
    ]


def starts(path: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"M(-?[\d.]+) (-?[\d.]+)", path)]


def test_every_cycle_gets_one_bead_of_its_kind() -> None:
    drawing = bead_string.draw(string([0.0, 1.0, None, 4.0, 9.0]))
    assert len(starts(drawing.rings["ok"])) == 2
    assert len(starts(drawing.rings["watch"])) == len(starts(drawing.fills["watch"])) == 1
    assert len(starts(drawing.fills["act"])) == 1
    assert len(starts(drawing.crosses)) == 1


def test_an_excluded_cycle_is_a_crossed_ring_beside_the_thread() -> None:
    beads = [*string([0.0, 0.0]), Bead(3, None, "out")]
    drawing = bead_string.draw(beads)
    assert len(starts(drawing.rings["out"])) == 1
    assert drawing.struck
    assert drawing.thread.count("L") == 1
    assert "1 excluded" in drawing.title


@pytest.mark.parametrize("cycles", [1, 2, 60, 100, 240, 900])
def test_every_bead_stays_inside_the_drawing(cycles: int) -> None:
    drawing = bead_string.draw(string([(-1) ** i * i * 1.7 for i in range(cycles)]))
    points = [p for path in (*drawing.rings.values(), *drawing.fills.values()) for p in starts(path)]
    assert len(starts(drawing.rings["ok"])) > 0
    assert all(0 <= x <= bead_string.WIDTH and 0 <= y <= bead_string.HEIGHT for x, y in points)


def test_more_drift_is_never_drawn_lower() -> None:
    heights = [bead_string.height_of(drift / 4) for drift in range(-40, 400)]
    assert heights == sorted(heights, reverse=True)


def test_a_very_long_life_shows_its_end_and_says_so() -> None:
    drawing = bead_string.draw(string([0.0] * 300))
    assert len(starts(drawing.rings["ok"])) == bead_string.MOST_BEADS
    assert drawing.title.startswith("300 cycles, the last 240 drawn; all in limits.")


def test_a_shorter_string_shows_the_end_of_a_life() -> None:
    drawing = bead_string.draw(string([0.0] * 58), 30)
    assert len(starts(drawing.rings["ok"])) == 30
    assert drawing.title.startswith("58 cycles, the last 30 drawn")


def test_it_says_in_words_what_it_shows() -> None:
    assert bead_string.draw([]).title == "No cycles yet."
    said = bead_string.draw(string([0.0, None, 6.25])).title
    assert said == (
        "3 cycles; 1 past the action limit, 1 not usable. Drift at cycle 3: 6.2 baseline standard deviations."
    )
