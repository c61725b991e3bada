"""Traces, as they came."""

from __future__ import annotations

from urllib.parse import quote

from fastapi import APIRouter, Response

from beadline.boundary.deps import ReadSession, Viewer
from beadline.features.traces import service as traces

router = APIRouter(include_in_schema=False)


@router.get("/traces/{trace_id}")
def as_received(session: ReadSession, viewer: Viewer, trace_id: int) -> Response:
    """Send a file byte for byte as it came, after checking its hash."""
    trace = traces.content_of(session, trace_id)
    headers = {
        "Content-Disposition": f"attachment; filename*=UTF-8''{quote(trace.filename, safe='')}",
        "X-Content-SHA256": trace.sha256,
    }
    return Response(trace.content, media_type="application/octet-stream", headers=headers)
