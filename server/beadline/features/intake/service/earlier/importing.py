"""Import a sheet of earlier results: look first, then record all that is accepted, in one transaction."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, tzinfo

from sqlalchemy.orm import Session

from beadline.features.cycles.schemas import CameBy
from beadline.features.intake.schemas import Unread
from beadline.features.intake.service import typing_in
from beadline.features.intake.service.earlier.report import Report
from beadline.features.intake.service.earlier.weighing import weigh
from beadline.features.intake.service.logging import judge_anew
from beadline.features.packings import queries as packing_queries
from beadline.features.packings import service as packings
from beadline.features.records import service as records
from beadline.features.traces import service as traces
from beadline.kit.errors import Conflict
from beadline.reading import UnreadableFile, earlier
from beadline.store.tables import Packing, User


@dataclass(frozen=True, slots=True, kw_only=True)
class HowToRead:
    """What a person changed of how a sheet was recognised: by place of the column its role and unit."""

    sheet: str = ""
    columns: Mapping[int, Mapping[str, str]] = field(default_factory=dict)
    day_order: str = ""


def look_at_earlier(
    session: Session,
    packing: Packing,
    content: bytes,
    *,
    filename: str,
    how: HowToRead,
    zone: tzinfo,
    at: datetime,
) -> Report:
    """Say what would become of each row; nothing is stored.

    Raises
    ------
    Invalid
        If the file can't be read as a sheet of results.
    """
    try:
        sheet = earlier.read(
            content,
            filename,
            sheet=how.sheet,
            correct=lambda plan: plan.corrected(columns=how.columns, day_order=how.day_order),
        )
    except UnreadableFile as error:
        raise Unread(error) from error
    rows = weigh(session, packing, sheet, zone=zone, at=at)
    return Report(packing=packing, sheet=sheet, rows=rows, sha256=hashlib.sha256(content).hexdigest())


def import_earlier(
    session: Session,
    packing: Packing,
    content: bytes,
    *,
    filename: str,
    how: HowToRead,
    reason: str,
    leave_out_refused: bool,
    came_by: CameBy,
    zone: tzinfo,
    by: User,
    at: datetime,
) -> Report:
    """Record every accepted row, judge the bed's life once, and keep the sheet; all or nothing.

    Sent again, rows that are recorded are found there already and nothing is doubled.

    Raises
    ------
    Invalid
        If the file can't be read, no reason is given, or something about the sheet must be answered first.
    Conflict
        If rows are refused and nobody said that they are to be left out.
    """
    packings.need_reason(reason)
    packing_queries.lock(session, packing.id)
    report = look_at_earlier(session, packing, content, filename=filename, how=how, zone=zone, at=at)
    _refuse_unanswered(report, leave_out_refused=leave_out_refused)
    accepted = [(row.row, row.entry) for row in report.rows if row.entry is not None]
    if not accepted:
        return report
    kept = traces.keep(session, content, filename=filename, by=by, at=at)
    for row, entry in sorted(accepted, key=lambda one: one[1].facts.number or 0):
        typing_in.store(
            session,
            packing,
            entry.values,
            facts=entry.facts,
            came_by=came_by,
            source={"file": kept.filename, "trace": kept.id, "row": row},
            how_found=f"From row {row} of {kept.filename}, an earlier result without a trace.",
            by=by,
            at=at,
        )
    _write_down(session, report, len(accepted), kept.id, reason=reason, by=by, at=at)
    judge_anew(session, packing, by=by, at=at)
    return replace(report, recorded=len(accepted))


def _refuse_unanswered(report: Report, *, leave_out_refused: bool) -> None:
    if report.sheet.questions:
        first = report.sheet.questions[0]
        raise Conflict(first.said, where=first.where, mend=first.mend, code="sheet-unclear")
    refused = [row for row in report.rows if row.status == "refused"]
    if refused and not leave_out_refused:
        first_row = refused[0]
        count = f"{len(refused)} rows are" if len(refused) > 1 else "One row is"
        raise Conflict(
            f"{count} refused. Row {first_row.row}: {first_row.said}",
            where=first_row.where,
            mend="Mend the sheet, or say that refused rows are to be left out. Nothing was recorded.",
            code="rows-refused",
        )


def _write_down(
    session: Session, report: Report, recorded: int, trace_id: int, *, reason: str, by: User, at: datetime
) -> None:
    packing = report.packing
    said = f"Imported {recorded} earlier results of {packing.column.name}, packing {packing.number}"
    after = {"sheet_sha256": report.sha256, "trace_id": trace_id, "plan": report.sheet.plan.to_dict()}
    records.write(
        session,
        by=by,
        at=at,
        did="import",
        thing="packing",
        thing_id=packing.id,
        said=said,
        why=reason.strip(),
        after=after | {status: count for status, count in report.counts.items() if count},
    )
