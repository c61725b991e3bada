"""A page that shows every part of our pages in every state, for whoever changes one and for the tests."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace as Part
from typing import Any, NamedTuple

from fastapi import APIRouter, Request, Response

from beadline.boundary import templates
from beadline.boundary.deps import Viewer

router = APIRouter(include_in_schema=False)
KINDS = ("ok", "watch", "act", "void", "out")


class Bead(NamedTuple):
    """A bead of a string that is shown."""

    cycle: int
    drift: float | None
    kind: str


@router.get("/parts", name="parts")
def parts(request: Request, person: Viewer) -> Response:
    """Show the parts."""
    return templates.render(request, "parts/gallery.html", samples())


def samples() -> dict[str, Any]:
    """Make what the gallery shows; every kind and every empty state occurs."""
    return {
        "strings": {
            "no cycle": [],
            "one cycle": _string(1),
            "a calm bed": _string(40),
            "a bed that leaves its limits": _string(70, from_cycle=45),
            "a long life": _string(260, from_cycle=200),
        },
        "kinds": KINDS,
        "ledes": [
            Part(lead="Said first.", rest=f"Then the rest, of kind {kind}.", kind=kind) for kind in KINDS
        ],
        "refusal": Part(
            message="This can't be done.", where="line 7, column 2", mend="Do it this way instead."
        ),
        "numbers": (
            ("every verdict", tuple(_line(kind) for kind in KINDS)),
            (
                "without a value",
                (_line("void", value="", u="", doubt="The record ends before the plateau."),),
            ),
        ),
        "events": (
            Part(
                at=datetime(2031, 3, 12, tzinfo=UTC),
                when="before cycle 1",
                mark="□",
                label="Packed",
                detail="slurry 54 %",
            ),
            Part(
                at=datetime(2031, 4, 20, tzinfo=UTC),
                when="cycle 15",
                mark="▾",
                label="Baseline complete",
                detail="",
            ),
        ),
    }


def _string(cycles: int, from_cycle: int | None = None) -> list[Bead]:
    drifts = [
        (0.8 * (i * 7 % 5 - 2) / 2 + (0.25 * max(0, i - from_cycle) if from_cycle else 0.0))
        for i in range(cycles)
    ]
    return [
        Bead(cycle=i + 1, drift=None, kind="void")
        if i % 17 == 11
        else Bead(cycle=i + 1, drift=None, kind="out")
        if i % 23 == 5
        else Bead(cycle=i + 1, drift=drift, kind="act" if drift > 5 else "watch" if drift > 3 else "ok")
        for i, drift in enumerate(drifts)
    ]


def _line(kind: str, value: str = "0.0345", u: str = "0.0006", doubt: str = "") -> Part:
    return Part(label="HETP", unit="cm", value=value, u=u, limit="at most 0.0408", kind=kind, doubt=doubt)
