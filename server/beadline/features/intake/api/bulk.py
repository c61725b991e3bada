"""Several runs of a bed in one request, each with an answer of its own."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, File, Form, UploadFile
from pydantic import BaseModel, ConfigDict, Field, Json

from beadline.boundary.deps import Now, ReadSession, SiteSettings, WriteSession
from beadline.features.cycles.schemas import RunFacts
from beadline.features.intake.api import runs
from beadline.features.intake.api.once import OnlyOnce
from beadline.features.intake.service import bulk
from beadline.features.packings import service as packings
from beadline.kit import forms
from beadline.kit.errors import Invalid, Refusal
from beadline.settings import Settings

router = APIRouter(prefix="/api/v1/runs/bulk", tags=["runs"])
MOST_RUNS = 100


class Facts(BaseModel):
    """What is known of one of the runs, as with a single run."""

    model_config = ConfigDict(extra="forbid")

    batch: str = Field(default="", max_length=60)
    started_at: str = Field(default="", description="ISO 8601, in the site's zone if it has none.")
    number: int | None = Field(default=None, description="Cycle number; told by the start if left out.")
    note: str = ""
    another_run: bool = False


class FactsOfRuns(BaseModel):
    """What is known of each run, in the order of the files."""

    model_config = ConfigDict(extra="forbid")

    runs: list[Facts]


class Problem(BaseModel):
    """Why a run was refused, in the terms of RFC 9457."""

    status: int
    type: str
    code: str
    title: str
    detail: str
    where: str
    mend: str


class BulkAnswer(BaseModel):
    """What became of one file: 201 recorded, 200 recorded before, else its problem."""

    filename: str
    status: int
    run: runs.RunReply | None
    problem: Problem | None


class BulkReply(BaseModel):
    """The answers in the order of the files, and the alert that all of them together raised or worsened."""

    recorded: int
    already_recorded: int
    refused: int
    alert: runs.RaisedAlert | None
    answers: list[BulkAnswer]


class ForeseenRun(BaseModel):
    """What one file would become; `cycle` is known if it is named or recorded already."""

    filename: str
    status: str = Field(description="would be recorded, there already, or refused")
    cycle: int | None
    started_at: datetime | None = Field(description="As given or as the file says; null if neither does.")
    usable_transitions: list[str]
    problem: Problem | None


class BulkLook(BaseModel):
    """What each file would become by itself, in the order of the files."""

    answers: list[ForeseenRun]


Column = Annotated[str, Form(description="Asset tag or name of the column of all files.")]
Files = Annotated[list[UploadFile], File(description=f"Up to {MOST_RUNS} traces.")]
Told = Annotated[Json[FactsOfRuns] | None, Form(description="As JSON, see FactsOfRuns.")]
PackingNumber = Annotated[str, Form(description="Number of the packing; the present one if empty.")]


@router.post("")
def log_runs(
    reader: ReadSession,
    session: WriteSession,
    logger: runs.Logger,
    settings: SiteSettings,
    now: Now,
    once: OnlyOnce,
    column: Column,
    files: Files,
    facts: Told = None,
    packing: PackingNumber = "",
    reason: Annotated[
        str, Form(description="For runs from before: why they come now; kept in the record.")
    ] = "",
) -> BulkReply:
    """Record several runs of a bed in one transaction and judge its life once; each has its own answer.

    A run that is refused leaves nothing behind and does not stop the others. Runs are taken in the order of
    their starts: one without a number gets the one that its start leaves free. The same file sent twice is
    recorded once, so a request that was cut off can be sent again.
    """

    number = forms.whole(packing, where="packing")
    arriving: Sequence[bulk.Arriving] = _arriving(files, facts, settings)
    if not once.is_known(reader):
        arriving = bulk.ahead(reader, packings.of_column(reader, column, number=number), arriving)
    reader.rollback()  # lets go of its connection; the other transaction begins now

    def work() -> BulkReply:
        bed = packings.of_column(session, column, number=number)
        arrived, alert = bulk.log_runs(
            session,
            bed,
            arriving,
            reason=reason,
            came_by="api",
            by=logger.user,
            at=now,
            zone=settings.zone,
        )
        answers = [
            BulkAnswer(
                filename=sent.filename,
                status=one.refusal.status
                if one.refusal
                else 200
                if one.logged and one.logged.already
                else 201,
                run=runs.reply_of(session, one.logged, bed, logger) if one.logged else None,
                problem=_problem(one.refusal) if one.refusal else None,
            )
            for sent, one in zip(arriving, arrived, strict=True)
        ]
        counted = [one.status for one in answers]
        return BulkReply(
            recorded=counted.count(201),
            already_recorded=counted.count(200),
            refused=len(counted) - counted.count(201) - counted.count(200),
            alert=runs.raised(alert) if alert else None,
            answers=answers,
        )

    return once.answer(BulkReply, work, status=200)


@router.post("/look")
def look(
    session: ReadSession,
    logger: runs.Logger,
    settings: SiteSettings,
    now: Now,
    column: Column,
    files: Files,
    facts: Told = None,
    packing: PackingNumber = "",
) -> BulkLook:
    """Say what each file would become by itself; nothing is stored."""
    bed = packings.of_column(session, column, number=forms.whole(packing, where="packing"))
    arriving = _arriving(files, facts, settings)
    seen = bulk.look_at_runs(session, bed, arriving, zone=settings.zone, at=now)
    return BulkLook(
        answers=[
            ForeseenRun(
                filename=sent.filename,
                status="refused" if one.refusal else "there already" if one.already else "would be recorded",
                cycle=one.cycle,
                started_at=one.started_at,
                usable_transitions=list(one.usable),
                problem=_problem(one.refusal) if one.refusal else None,
            )
            for sent, one in zip(arriving, seen, strict=True)
        ]
    )


def _arriving(files: list[UploadFile], facts: FactsOfRuns | None, settings: Settings) -> list[bulk.Arriving]:
    told = facts.runs if facts is not None else [Facts() for _ in files]
    if len(told) != len(files) or len(files) > MOST_RUNS:
        said = f"{len(files)} files came with facts of {len(told)} runs."
        mend = f"Send facts of each file, in the same order; up to {MOST_RUNS} files at once."
        raise Invalid(said, where="facts", mend=mend)
    return [
        bulk.Arriving(
            file.file.read(),
            file.filename or "file",
            RunFacts(
                batch=one.batch,
                started_at=forms.moment(one.started_at, settings.zone, where="started_at"),
                number=one.number,
                note=one.note,
                another_run=one.another_run,
            ),
        )
        for file, one in zip(files, told, strict=True)
    ]


def _problem(refusal: Refusal) -> Problem:
    return Problem(
        status=refusal.status,
        type=f"urn:beadline:problem:{refusal.code}",
        code=refusal.code,
        title=refusal.message,
        detail=" ".join(filter(None, (refusal.message, refusal.mend))),
        where=refusal.where,
        mend=refusal.mend,
    )
