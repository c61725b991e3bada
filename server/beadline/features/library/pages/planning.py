"""Plan a packing, before the slurry is made."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from beadline.boundary import templates
from beadline.boundary.deps import Viewer
from beadline.features.library import service as library
from beadline.kit.errors import Refusal

router = APIRouter()


@router.get("/packings/plan")
def plan_page(request: Request, viewer: Viewer) -> Response:
    """Show the form, and the plan if enough was asked; the address holds it all."""
    asked = {name: request.query_params.get(name, "") for name in library.ASKED}
    plan, refusal = None, None
    try:
        plan = library.plan_packing(asked)
    except Refusal as error:
        refusal = error
    context = {"form": asked, "plan": plan, "refusal": refusal, "methods": tuple(library.METHODS)}
    return templates.render(request, "packings/plan.html", context, status=refusal.status if refusal else 200)
