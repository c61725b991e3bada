"""Where the web application is put together."""

from __future__ import annotations

import asyncio
import gc
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import Depends, FastAPI
from starlette.middleware.trustedhost import TrustedHostMiddleware

from beadline import __doc__ as purpose
from beadline.boundary import assets, errors, gallery, guides, health, openapi, pace, store_errors
from beadline.boundary.etags import Etags
from beadline.boundary.guard import Guard
from beadline.features.accounts import api as accounts_api
from beadline.features.accounts import pages as accounts
from beadline.features.alerts import api as alerts_api
from beadline.features.alerts import pages as alerts
from beadline.features.bed_events import api as bed_events_api
from beadline.features.bed_events import pages as bed_events
from beadline.features.calendar import api as calendar_api
from beadline.features.calendar import pages as calendar
from beadline.features.campaign_reviews import api as campaign_reviews_api
from beadline.features.campaign_reviews import pages as campaign_reviews
from beadline.features.intake import api as intake_api
from beadline.features.intake import pages as intake
from beadline.features.library import api as library_api
from beadline.features.library import pages as library
from beadline.features.notices import api as notices_api
from beadline.features.notices import pages as notices
from beadline.features.notices.service import deliveries_of
from beadline.features.overview import api as overview_api
from beadline.features.overview import pages as overview
from beadline.features.pulse_tests import api as pulse_tests_api
from beadline.features.pulse_tests import pages as pulse_tests
from beadline.features.reading_profiles import api as reading_profiles_api
from beadline.features.reading_profiles import pages as reading_profiles
from beadline.features.recomputations import api as recomputations_api
from beadline.features.recomputations import pages as recomputations
from beadline.features.record_reviews import api as record_reviews_api
from beadline.features.record_reviews import pages as record_reviews
from beadline.features.records import api as records_api
from beadline.features.records import pages as records
from beadline.features.reports import pages as reports
from beadline.features.step_plans import api as step_plans_api
from beadline.features.step_plans import pages as step_plans
from beadline.features.traces import pages as traces
from beadline.settings import Settings
from beadline.store.engine import make_engine, reading_sessions, writing_sessions

PAGES = (
    reports,  # first: its addresses end in .pdf where those of the pages end in a number
    overview,
    intake,
    alerts,
    campaign_reviews,
    calendar,
    pulse_tests,
    bed_events,
    notices,
    reading_profiles,
    step_plans,
    library,
    record_reviews,
    records,
    recomputations,
    traces,
    accounts,
)
APIS = (
    overview_api,
    intake_api,
    bed_events_api,
    alerts_api,
    pulse_tests_api,
    library_api,
    step_plans_api,
    reading_profiles_api,
    campaign_reviews_api,
    notices_api,
    record_reviews_api,
    recomputations_api,
    accounts_api,
    records_api,
    calendar_api,
)


@asynccontextmanager
async def _seldom_collecting(app: FastAPI) -> AsyncIterator[None]:
    """Keep the garbage collector from walking over the libraries while a long page is made.

    What is loaded at the start stays for good; a page of 500 beds makes 50,000 objects that end with it.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)
    yield


def _identity_provider(settings: Settings) -> object:
    """Return what asks the site's identity provider, or None if there is none."""
    if not settings.oidc_issuer:
        return None
    from beadline.boundary.identity_provider import IdentityProvider  # here: it would slow every other start

    return IdentityProvider(settings)


def build(settings: Settings) -> FastAPI:
    """Build the application; nothing connects yet."""
    app = FastAPI(
        title="Beadline",
        description=purpose or "",
        version="1",
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/v1/openapi.json",
        lifespan=_seldom_collecting,
        dependencies=[
            Depends(accounts.identify),
            Depends(pace.of_person),
            Depends(alerts.count_waiting),
        ],
    )
    engine = make_engine(settings.database_url, connections=settings.database_connections)
    app.state.settings = settings
    app.state.engine = engine
    app.state.new_session = writing_sessions(engine)
    app.state.new_reading_session = reading_sessions(engine)
    app.state.pace = pace.Pace(settings.changes_per_minute)
    app.state.pace_of_addresses = pace.Pace(settings.changes_per_minute_of_address)
    app.state.stopping = asyncio.Event()  # streams end, so that the server can
    app.state.measured = health.Measured()
    app.state.deliveries_of = deliveries_of  # the page of an alert stands below the notices about it
    app.state.identity_provider = _identity_provider(settings)
    errors.add_to(app)
    store_errors.add_to(app)
    for part in (assets, gallery, guides, health, *PAGES, *APIS):
        app.include_router(part.router)
    openapi.describe(app)
    app.add_middleware(Etags)
    app.add_middleware(pace.PaceOfAddresses, pace=app.state.pace_of_addresses)
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=settings.hosts)
    app.add_middleware(Guard, settings=settings)
    app.add_middleware(health.Measuring, measured=app.state.measured)
    return app
