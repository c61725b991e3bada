"""Whether the server lives, is ready, and what it has done: for those who run it."""

from __future__ import annotations

import platform
import time
from collections.abc import Iterator

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse, PlainTextResponse
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest
from prometheus_client.exposition import CONTENT_TYPE_LATEST
from prometheus_client.process_collector import ProcessCollector
from sqlalchemy import Engine, text
from sqlalchemy.exc import SQLAlchemyError
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from beadline.boundary import request_log
from beadline.boundary.deps import Viewer
from beadline.store import migrate

router = APIRouter()
BUCKETS_S = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)


@router.get("/health", include_in_schema=False)
def health() -> Response:
    """Say that the process lives; it asks nothing else."""
    return PlainTextResponse("alive\n")


@router.get("/ready", include_in_schema=False)
def ready(request: Request) -> Response:
    """Say whether requests can be served: the database answers, and its tables fit this version."""
    faults = list(_faults(request.app.state.engine))
    return JSONResponse({"ready": not faults, "faults": faults}, status_code=503 if faults else 200)


def _faults(engine: Engine) -> Iterator[str]:
    try:
        with engine.connect() as connection:
            connection.execute(text("select 1"))
        if not migrate.fits(engine):
            yield "the tables are not those of this version"
    except SQLAlchemyError:
        yield "the database does not answer"


@router.get("/api/v1/metrics", tags=["operation"], response_class=PlainTextResponse)
def metrics(request: Request, viewer: Viewer) -> Response:
    """Return counts and times of requests, and what the process uses, in the Prometheus text format."""
    measured: Measured = request.app.state.measured
    return Response(generate_latest(measured.registry), media_type=CONTENT_TYPE_LATEST)


class Measured:
    """The counters of one application."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        labels = ("method", "route", "status")
        said = "Requests answered, by route"
        self.requests = Counter("beadline_requests", said, labels, registry=self.registry)
        self.seconds = Histogram(
            "beadline_request_seconds",
            "Seconds until an answer was sent, by route",
            ("method", "route"),
            buckets=BUCKETS_S,
            registry=self.registry,
        )
        self.underway = Gauge("beadline_requests_underway", "Requests being answered", registry=self.registry)
        about = Gauge("beadline_info", "What runs here", ("python",), registry=self.registry)
        about.labels(platform.python_version()).set(1)
        ProcessCollector(registry=self.registry)


class Measuring:
    """ASGI middleware: count, time and log what is answered, by the route and never by the address."""

    def __init__(self, app: ASGIApp, *, measured: Measured) -> None:
        self.app = app
        self.measured = measured

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started, status = time.perf_counter(), 500

        async def noting(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        with self.measured.underway.track_inprogress():
            try:
                await self.app(scope, receive, noting)
            finally:
                took = time.perf_counter() - started
                route = getattr(scope.get("route"), "path", "none")
                self.measured.requests.labels(scope["method"], route, str(status)).inc()
                if not route.endswith("/news"):  # a stream's length says nothing about speed
                    self.measured.seconds.labels(scope["method"], route).observe(took)
                request_log.note(scope, status=status, seconds=took)
