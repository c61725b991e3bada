"""Traces, as they came, for browsers and programs."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Response

from beadline.boundary.deps import ReadSession, Viewer
from beadline.features.traces import service as traces

router = APIRouter(tags=["traces"])
FILE: dict[int | str, dict[str, Any]] = {
    200: {"content": {"application/octet-stream": {}}, "description": "The file"}
}


@router.get("/traces/{trace_id}", include_in_schema=False)
@router.get("/api/v1/traces/{trace_id}", response_class=Response, responses=FILE)
def as_received(session: ReadSession, viewer: Viewer, trace_id: int) -> Response:
    """Send a file byte for byte as it came, after checking its hash."""
    trace = traces.content_of(session, trace_id)
    headers = {
        "Content-Disposition": f"attachment; filename*=UTF-8''{quote(trace.filename, safe='')}",
        "X-Content-SHA256": trace.sha256,
    }
    return Response(trace.content, media_type="application/octet-stream", headers=headers)
