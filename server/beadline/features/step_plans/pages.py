"""The page on which a step plan is written and tried."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, get_args

from fastapi import APIRouter, Depends, File, Request, Response, UploadFile
from fastapi.responses import RedirectResponse

from beadline.boundary import templates
from beadline.boundary.deps import (
    Now,
    OurForm,
    Person,
    Posted,
    ReadSession,
    Session,
    WriteSession,
    allowed,
)
from beadline.features.packings import service as packings
from beadline.features.step_plans import service as step_plans
from beadline.features.step_plans.schemas import TriedPlan, Written
from beadline.features.step_plans.service.writing import DIRECTIONS, MOST_ROWS
from beadline.features.transitions import service as transitions
from beadline.kit import forms
from beadline.kit.errors import Invalid, Refusal
from beadline.reading import Quantity

router = APIRouter(prefix="/library/step-plans", include_in_schema=False)
Keeper = Annotated[Person, Depends(allowed("change library"))]
HOWS = (("mark", "its mark"), ("volume", "a volume"), ("step", "the step itself"))
NEW_ROWS = 2
FACTS = ("name", "product", "reference_flow_l_h", "packing")


@router.get("/new")
def form(
    request: Request, session: ReadSession, keeper: Keeper, plan: int | None = None, packing: str = ""
) -> Response:
    """Show the form, filled in as a present plan if one is named."""
    rows: Sequence[Written] = ()
    given = {"packing": packing}
    if plan is not None:
        present = transitions.plan(session, plan)
        rows = step_plans.rows_of(transitions.planned(present))
        flow = present.reference_flow_m3_s
        given |= {"name": present.name, "product": present.product}
        given |= {"reference_flow_l_h": f"{flow * 3.6e6:.6g}" if flow else ""}
        packed = next((bed for bed in packings.in_use(session) if bed.step_plan_id == plan), None)
        given["packing"] = packing or (str(packed.id) if packed else "")
    return _page(request, session, given, rows, look=plan is not None)


@router.post("/try", dependencies=[OurForm])
def try_out(
    request: Request,
    session: ReadSession,
    keeper: Keeper,
    posted: Posted,
    file: Annotated[UploadFile | None, File()] = None,
) -> Response:
    """Show what the plan finds: as a part of the page, or without script as the page."""
    content = file.file.read() if file is not None else b""
    upload = (content, file.filename or "file") if file is not None and content else None
    rows = step_plans.read_rows(posted)
    if posted.get("part") == "yes":
        tried, refusal = _tried(session, posted, rows, upload)
        return templates.render(request, "step_plans/tried.html", {"tried": tried, "untried": refusal})
    return _page(request, session, posted, rows, upload=upload, look=True)


@router.post("", dependencies=[OurForm])
def add(request: Request, session: WriteSession, keeper: Keeper, now: Now, posted: Posted) -> Response:
    """Record the plan, or its next version, and go back to its shelf."""
    rows = step_plans.read_rows(posted)
    try:
        flow = forms.number(posted.get("reference_flow_l_h", ""), where="reference_flow_l_h")
        if flow is not None and flow <= 0:
            raise Invalid("A flow is above 0.", where="reference_flow_l_h", mend="Or leave it empty.")
        if not posted.get("name", "").strip():
            raise Invalid("The name is missing.", where="name", mend="Fill it in.")
        with session.begin_nested():
            transitions.make_plan(
                session,
                name=posted["name"][:80],
                product=posted.get("product", "").strip()[:80],
                transitions=step_plans.planned(rows),
                reference_flow_m3_s=None if flow is None else flow / 3.6e6,
                by=keeper.user,
                at=now,
            )
    except Refusal as refusal:
        return _page(request, session, posted, rows, refusal=refusal)
    return RedirectResponse("/library#step-plans", status_code=303)


def _page(
    request: Request,
    session: Session,
    given: Mapping[str, str],
    rows: Sequence[Written],
    *,
    upload: tuple[bytes, str] | None = None,
    refusal: Refusal | None = None,
    look: bool = False,
) -> Response:
    beds = packings.in_use(session)
    facts = {name: given.get(name, "") for name in FACTS}
    facts["packing"] = facts["packing"] or (str(beds[0].id) if beds else "")
    tried, untried = _tried(session, facts, rows, upload) if look else (None, None)
    context = {
        "given": facts,
        "rows": _with_empty_ones(rows),
        "refusal": refusal,
        "beds": [(bed.id, f"{bed.column.name}, packing {bed.number}") for bed in beds],
        "choices": {"quantities": _pairs(get_args(Quantity)), "hows": HOWS, "directions": _pairs(DIRECTIONS)},
        "tried": tried,
        "untried": untried,
    }
    return templates.render(
        request, "step_plans/plan.html", context, status=refusal.status if refusal else 200
    )


def _with_empty_ones(rows: Sequence[Written]) -> list[Written]:
    """Return the rows up to the last that is filled, and some empty ones to write in."""
    filled = max((place + 1 for place, row in enumerate(rows) if row.name), default=0)
    return [*rows[:filled], *[Written()] * min(NEW_ROWS, MOST_ROWS - filled)]


def _tried(
    session: Session, given: Mapping[str, str], rows: Sequence[Written], upload: tuple[bytes, str] | None
) -> tuple[TriedPlan | None, Refusal | None]:
    """Return what the plan finds in the trace that was chosen, or why nothing can be shown."""
    try:
        plan = step_plans.planned(rows)
        packing_id = forms.whole(given.get("packing", ""), where="packing")
        if packing_id is None:
            raise Invalid("No bed is chosen.", where="packing", mend="Choose the bed that the trace is of.")
        if upload is not None:
            shown = step_plans.sent_trace(session, packing_id, upload[0], filename=upload[1])
        else:
            shown = step_plans.newest_trace(session, packing_id)
        return step_plans.tried(shown, plan), None
    except Refusal as refusal:
        return None, refusal


def _pairs(values: Sequence[str]) -> list[tuple[str, str]]:
    return [(value, value) for value in values]
