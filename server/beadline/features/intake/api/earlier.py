"""Sheets of earlier results, posted by programs: look, then import."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, File, Form, UploadFile
from pydantic import BaseModel, ConfigDict, Field, Json

from beadline.boundary.deps import Now, Person, ReadSession, SiteSettings, WriteSession, allowed
from beadline.features.intake.service import earlier
from beadline.features.packings import service as packings
from beadline.kit import forms

router = APIRouter(prefix="/api/v1/earlier-results", tags=["earlier results"])
Engineer = Annotated[Person, Depends(allowed("correct runs"))]


class ColumnSetting(BaseModel):
    """What a column is, where that was not recognised."""

    model_config = ConfigDict(extra="forbid")

    role: str | None = Field(
        default=None, description="Such as cycle, date, hetp, plates, asymmetry, ignored."
    )
    unit: str | None = Field(default=None, description="Such as cm, mm or µm for hetp.")


class Reading(BaseModel):
    """How a sheet is to be read, where the recognition is wrong or asks."""

    model_config = ConfigDict(extra="forbid")

    sheet: str = Field(default="", description="Name of the workbook's sheet.")
    columns: dict[int, ColumnSetting] = Field(default={}, description="By place of the column, from 0.")
    day_order: str = Field(default="", description="“day first” or “month first”, where dates leave it open.")


class SheetColumn(BaseModel):
    """A column of the sheet as it was read; index counts from 0."""

    index: int
    header: str
    role: str
    unit: str


class Asked(BaseModel):
    """What must be answered before anything is recorded."""

    where: str
    said: str
    mend: str


class RowLine(BaseModel):
    """A row, numbered as in the file: accepted, there already, refused or left out."""

    row: int
    status: str
    cycle: int | None
    said: str
    where: str
    mend: str


class ImportReply(BaseModel):
    """What becomes, or became, of each row; `recorded` is 0 after a look."""

    column: str
    packing: int
    recorded: int
    counts: dict[str, int]
    recognised: list[str]
    questions: list[Asked]
    sheets: list[str]
    day_order: str
    columns: list[SheetColumn]
    rows: list[RowLine]
    sheet_sha256: str
    address: str


Column = Annotated[str, Form(description="Asset tag or name of the column.")]
Sheet = Annotated[UploadFile, File(description="XLSX or delimited text, a run in each row.")]
PackingNumber = Annotated[
    str, Form(description="Number of the packing within its column; the present one if empty.")
]
How = Annotated[Json[Reading] | None, Form(description="As JSON, see Reading.")]


@router.post("/look")
def look(
    session: ReadSession,
    engineer: Engineer,
    settings: SiteSettings,
    now: Now,
    column: Column,
    file: Sheet,
    packing: PackingNumber = "",
    reading: How = None,
) -> ImportReply:
    """Say what would become of each row of a sheet; nothing is stored."""
    report = earlier.look_at_earlier(
        session,
        packings.of_column(session, column, number=forms.whole(packing, where="packing")),
        file.file.read(),
        filename=file.filename or "file",
        how=_how(reading),
        zone=settings.zone,
        at=now,
    )
    return _reply(report)


@router.post("", status_code=201)
def import_sheet(
    session: WriteSession,
    engineer: Engineer,
    settings: SiteSettings,
    now: Now,
    column: Column,
    file: Sheet,
    reason: Annotated[str, Form(description="Why; it stays in the record.")] = "",
    packing: PackingNumber = "",
    reading: How = None,
    leave_out_refused: Annotated[
        bool, Form(description="Record the others although some rows are refused.")
    ] = False,
) -> ImportReply:
    """Record every accepted row of a sheet in one transaction, and judge the bed's life once.

    All or nothing: refused with 409 while rows are refused (code rows-refused; leave_out_refused records the
    others) or something must be answered (code sheet-unclear). Sent again, nothing is doubled.
    """
    report = earlier.import_earlier(
        session,
        packings.of_column(session, column, number=forms.whole(packing, where="packing")),
        file.file.read(),
        filename=file.filename or "file",
        how=_how(reading),
        reason=reason,
        leave_out_refused=leave_out_refused,
        came_by="api",
        zone=settings.zone,
        by=engineer.user,
        at=now,
    )
    return _reply(report)


def _how(reading: Reading | None) -> earlier.HowToRead:
    if reading is None:
        return earlier.HowToRead()
    columns = {index: one.model_dump(exclude_none=True) for index, one in reading.columns.items()}
    return earlier.HowToRead(sheet=reading.sheet, columns=columns, day_order=reading.day_order)


def _reply(report: earlier.Report) -> ImportReply:
    plan: dict[str, Any] = report.sheet.plan.to_dict()
    tag = report.packing.column.asset_tag
    return ImportReply(
        column=tag,
        packing=report.packing.number,
        recorded=report.recorded,
        counts={str(status): count for status, count in report.counts.items()},
        recognised=list(report.sheet.notes),
        questions=[Asked(where=one.where, said=one.said, mend=one.mend) for one in report.sheet.questions],
        sheets=list(report.sheet.sheets),
        day_order=plan["day_order"],
        columns=[SheetColumn(**one) for one in plan["columns"]],
        rows=[
            RowLine(
                row=one.row,
                status=one.status,
                cycle=one.cycle,
                said=one.said,
                where=one.where,
                mend=one.mend,
            )
            for one in report.rows
        ],
        sheet_sha256=report.sha256,
        address=f"/columns/{tag}?packing={report.packing.id}",
    )
