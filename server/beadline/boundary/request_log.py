"""One line of the log for each request: who asked for what, and how it went.

It names the route and never the address, since addresses may hold tokens and what people search for; nor
what was sent, nor cookies, nor credentials.
"""

from __future__ import annotations

import logging

from starlette.types import Scope

from beadline.kit.log_lines import FACTS

logger = logging.getLogger("beadline.requests")
QUIET = ("/static/{name:path}", "/health", "/ready")  # asked for all the time, and told by the metrics


def note(scope: Scope, *, status: int, seconds: float) -> None:
    """Log a request that was answered; one that failed on our side as an error."""
    route = getattr(scope.get("route"), "path", "none")
    if status < 500 and (route in QUIET or not logger.isEnabledFor(logging.INFO)):
        return
    state = scope.get("state", {})
    person = state.get("person")
    facts = {
        "request_id": state.get("request_id", ""),
        "user": person.user.name if person else "",
        "from": scope["client"][0] if scope.get("client") else "",
        "method": scope["method"],
        "route": route,
        "status": status,
        "ms": round(seconds * 1e3, 1),
    }
    level = logging.ERROR if status >= 500 else logging.INFO
    logger.log(level, "%s %s %d", scope["method"], route, status, extra={FACTS: facts})
