"""Runs, posted by programs."""

from __future__ import annotations

from datetime import datetime, tzinfo
from typing import Annotated, Any

from fastapi import APIRouter, Depends, File, Form, UploadFile
from pydantic import BaseModel, ConfigDict, Field

from beadline.boundary.deps import Now, Person, ReadSession, Session, SiteSettings, WriteSession, allowed
from beadline.features.alerts import service as alerts
from beadline.features.cycles.schemas import RunFacts
from beadline.features.drift import service as drift
from beadline.features.intake import service as intake
from beadline.features.intake.api.once import OnlyOnce
from beadline.features.intake.schemas import LoggedRun, TypedValues
from beadline.features.packings import service as packings
from beadline.features.transitions import service as transitions
from beadline.kit import forms
from beadline.store.tables import Alert, Packing

router = APIRouter(prefix="/api/v1", tags=["runs"])
Logger = Annotated[Person, Depends(allowed("log a run"))]


class RaisedAlert(BaseModel):
    """An alert that the run raised or worsened."""

    id: int
    level: str
    status: str
    since_cycle: int
    headline: str
    sentence: str
    address: str


class OpenAlert(BaseModel):
    """The newest alert of the bed that is not closed, whether this run raised it or an older one."""

    id: int
    level: str
    headline: str


class ChartThatSpoke(BaseModel):
    """A chart past a limit: of which metric, which limit, and why; some are of the probe or the pump."""

    chart: str
    key: str
    level: str
    of_the_bed: bool
    why: str


class RunReply(BaseModel):
    """A recorded run with its verdict; drift in baseline standard deviations, null if a run is not usable."""

    column: str
    packing: int
    cycle: int
    started_at: datetime
    already_recorded: bool
    verdict: str | None
    condition: str | None
    drift: float | None
    alert: RaisedAlert | None
    open_alert: OpenAlert | None
    doubts: list[str]
    warnings: list[str]
    not_the_bed: list[str]
    charts: list[ChartThatSpoke]
    logged_by: str
    trace_sha256: str
    address: str


async def _facts(
    settings: SiteSettings,
    batch: Annotated[str, Form()] = "",
    started_at: Annotated[
        str,
        Form(
            description="ISO 8601, in the site's zone if it has none; if empty, as the file says, else now."
        ),
    ] = "",
    number: Annotated[str, Form(description="Cycle number; the next one if empty.")] = "",
    note: Annotated[str, Form()] = "",
    another_run: Annotated[
        bool, Form(description="True for a run of its own although its signals are those of a recorded one.")
    ] = False,
) -> RunFacts:
    return RunFacts(
        batch=batch,
        started_at=forms.moment(started_at, settings.zone, where="started_at"),
        number=forms.whole(number, where="number"),
        note=note,
        another_run=another_run,
    )


@router.post(
    "/runs", status_code=201, responses={200: {"model": RunReply, "description": "Recorded before."}}
)
def log_run(
    reader: ReadSession,
    session: WriteSession,
    logger: Logger,
    settings: SiteSettings,
    now: Now,
    once: OnlyOnce,
    column: Annotated[str, Form(description="Asset tag or name of the column.")],
    file: Annotated[UploadFile, File(description="The trace as the skid exported it.")],
    facts: Annotated[RunFacts, Depends(_facts)],
) -> RunReply:
    """Read, analyse, judge and record a run; the same file sent twice is recorded once.

    A file with the signals of a recorded run is refused with 409, code looks-recorded, unless another_run
    is true. Warnings name what to look at, such as a run that started before the newest one.
    """
    content, filename = file.file.read(), file.filename or "file"
    return log_content(
        reader,
        session,
        once,
        logger,
        column=column,
        content=content,
        filename=filename,
        facts=facts,
        zone=settings.zone,
        at=now,
    )


def log_content(
    reader: Session,
    session: Session,
    once: OnlyOnce,
    logger: Person,
    *,
    column: str,
    content: bytes,
    filename: str,
    facts: RunFacts,
    zone: tzinfo,
    at: datetime,
) -> RunReply:
    """Log what was sent, read and analysed before the transaction that records it begins."""
    before = None
    if not once.is_known(reader):
        before = intake.ahead(reader, packings.current(reader, column), content, filename=filename)
    reader.rollback()  # lets go of its connection; the other transaction begins now

    def work() -> RunReply:
        packing = packings.current(session, column)
        logged = intake.log_run(
            session,
            packing,
            content,
            filename=filename,
            facts=facts,
            came_by="api",
            by=logger.user,
            at=at,
            zone=zone,
            before=before,
        )
        if logged.already:
            once.response.status_code = 200
        return reply_of(session, logged, packing, logger)

    return once.answer(RunReply, work, status=201)


class TypedRun(BaseModel):
    """A run without a trace: values of the plan's official transition, computed elsewhere."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    column: str = Field(description="Asset tag or name of the column.")
    started_at: str = Field(description="ISO 8601, in the site's zone if it has none.")
    batch: str = Field(default="", max_length=60)
    number: int | None = Field(default=None, description="Cycle number; the next one if left out.")
    note: str = ""
    hetp_cm: float | None = Field(default=None, description="Plate height from moments [cm].")
    asymmetry: float | None = Field(default=None, description="At 10 % of the peak of the derivative.")
    mean_cv: float | None = Field(default=None, description="Mean breakthrough volume [CV].")
    variance_cv2: float | None = Field(default=None, description="Variance [CV²].")
    pressure_drop_bar: float | None = Field(
        default=None, description="Pressure drop at the plan's flow and 20 °C [bar]."
    )


@router.post(
    "/typed-runs", status_code=201, responses={200: {"model": RunReply, "description": "Recorded before."}}
)
def log_typed(
    session: WriteSession,
    logger: Logger,
    settings: SiteSettings,
    now: Now,
    once: OnlyOnce,
    typed: TypedRun,
) -> RunReply:
    """Record and judge values without a trace; they are marked as typed by hand wherever they are shown."""

    def work() -> RunReply:
        packing = packings.current(session, typed.column)
        logged = intake.log_typed(
            session,
            packing,
            TypedValues(
                hetp_m=None if typed.hetp_cm is None else typed.hetp_cm / 100,
                asymmetry=typed.asymmetry,
                mean_cv=typed.mean_cv,
                variance_cv2=typed.variance_cv2,
                pressure_drop_pa=None if typed.pressure_drop_bar is None else typed.pressure_drop_bar * 1e5,
            ),
            facts=RunFacts(
                batch=typed.batch,
                started_at=forms.moment(typed.started_at, settings.zone, where="started_at"),
                number=typed.number,
                note=typed.note,
            ),
            came_by="api",
            by=logger.user,
            at=now,
        )
        if logged.already:
            once.response.status_code = 200
        return reply_of(session, logged, packing, logger)

    return once.answer(RunReply, work, status=201)


def raised(alert: Alert) -> RaisedAlert:
    """Shape an alert that was raised or worsened."""
    return RaisedAlert(
        id=alert.id,
        level=alert.level,
        status=alert.status,
        since_cycle=alert.since_cycle,
        headline=alert.headline,
        sentence=alert.sentence,
        address=f"/alerts/{alert.id}",
    )


def reply_of(session: Session, logged: LoggedRun, packing: Packing, logger: Person) -> RunReply:
    """Shape what is told of a recorded run."""
    tag, still_open = packing.column.asset_tag, alerts.newest_open(session, packing.id)
    cycle, judgement, alert = logged.cycle, logged.judgement, logged.alert
    told: dict[str, Any] = {
        "verdict": None,
        "condition": None,
        "drift": None,
        "not_the_bed": [],
        "charts": [],
    }
    if judgement is not None:
        told = {
            "verdict": judgement.verdict,
            "condition": judgement.condition,
            "drift": judgement.drift,
            "not_the_bed": [doubt["sentence"] for doubt in judgement.not_the_bed],
            "charts": [
                ChartThatSpoke(
                    chart=one.chart, key=one.key, level=one.level, of_the_bed=one.is_of_bed, why=one.why
                )
                for one in drift.spoken(judgement)
            ],
        }
    return RunReply(
        column=tag,
        packing=packing.number,
        open_alert=OpenAlert(id=still_open.id, level=still_open.level, headline=still_open.headline)
        if still_open
        else None,
        doubts=list(transitions.doubts_of(session, logged.cycle)),
        cycle=cycle.number,
        started_at=cycle.started_at,
        already_recorded=logged.already,
        warnings=list(logged.warnings),
        alert=raised(alert) if alert else None,
        logged_by=cycle.logged_by.name if logged.already else logger.user.name,
        trace_sha256=logged.trace_sha256,
        address=f"/columns/{tag}?cycle={cycle.number}",
        **told,
    )
