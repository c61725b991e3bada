"""Log several runs of a bed at once: each is recorded or refused by itself, and the life is judged once."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo

from sqlalchemy.orm import Session

from beadline.features.cycles import queries as cycle_queries
from beadline.features.cycles.schemas import CameBy, RunFacts
from beadline.features.drift import queries as drift_queries
from beadline.features.intake.schemas import AnalysedRun, Corrections, LoggedRun
from beadline.features.intake.service import logging, placing
from beadline.features.intake.service.numbering import numbered
from beadline.features.intake.service.preparing import Ahead, prepare, prepared
from beadline.features.intake.service.preparing import ahead as analysed_ahead
from beadline.features.packings import queries as packing_queries
from beadline.features.records import service as records
from beadline.kit.errors import Conflict, Refusal
from beadline.store.tables import Alert, Judgement, Packing, User


@dataclass(frozen=True, slots=True)
class Arriving:
    """A file with what is known of its run, and what came out of it if it was analysed before."""

    content: bytes
    filename: str
    facts: RunFacts
    before: Ahead | None = None


@dataclass(frozen=True, slots=True)
class Arrived:
    """A run that was recorded, now or before, or why it was refused."""

    logged: LoggedRun | None
    refusal: Refusal | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Foreseen:
    """What a file would become: its cycle and start if they are known, or why it would be refused."""

    already: bool = False
    cycle: int | None = None
    started_at: datetime | None = None
    usable: tuple[str, ...] = ()
    refusal: Refusal | None = None


def ahead(session: Session, packing: Packing, runs: Sequence[Arriving]) -> tuple[Arriving, ...]:
    """Read and analyse files, so that the transaction that records them is short.

    What is refused or recorded is left for that transaction to say.
    """
    seen: set[bytes] = set()
    return tuple(_ahead(session, packing, one, seen) for one in runs)


def _ahead(session: Session, packing: Packing, one: Arriving, seen: set[bytes]) -> Arriving:
    if one.content in seen:
        return one
    seen.add(one.content)
    try:
        return replace(one, before=analysed_ahead(session, packing, one.content, filename=one.filename))
    except Refusal:
        return one


def log_runs(
    session: Session,
    packing: Packing,
    runs: Sequence[Arriving],
    *,
    reason: str = "",
    came_by: CameBy,
    by: User,
    at: datetime,
    zone: tzinfo,
) -> tuple[tuple[Arrived, ...], Alert | None]:
    """Log runs in the order of their starts, and judge the life once.

    A run without a number takes the one that its start leaves free among those that are recorded; one
    without a start either comes last. One that is refused leaves nothing behind, and the others stay.

    Returns
    -------
    tuple
        The answer to each run, and the alert that all of them raised or worsened, if any.
    """
    packing_queries.lock(session, packing.id)
    placed = _placed(session, packing, runs, zone=zone, at=at)
    answers: dict[int, Arrived] = {}
    for place in sorted(range(len(runs)), key=lambda one: _order(placed[one])):
        one = placed[place]
        answers[place] = (
            one if isinstance(one, Arrived) else _log(session, packing, one, came_by, by, at, zone)
        )
    fresh = [one.logged for one in answers.values() if one.logged is not None and not one.logged.already]
    alert = logging.judge_anew(session, packing, by=by, at=at) if fresh else None
    if reason.strip() and fresh:
        _write_down(session, packing, len(fresh), reason=reason, by=by, at=at)
    verdicts = drift_queries.of_cycles(session, [one.cycle.id for one in fresh])
    return tuple(_with_verdict(answers[place], verdicts) for place in range(len(runs))), alert


def look_at_runs(
    session: Session, packing: Packing, runs: Sequence[Arriving], *, zone: tzinfo, at: datetime
) -> tuple[Foreseen, ...]:
    """Say what would become of each file by itself; nothing is stored."""
    return tuple(_foreseen(session, packing, one, zone=zone, at=at) for one in runs)


def _foreseen(session: Session, packing: Packing, one: Arriving, *, zone: tzinfo, at: datetime) -> Foreseen:
    known = _known(session, packing, one)
    if known is not None:
        return Foreseen(already=True, cycle=known.cycle.number, started_at=known.cycle.started_at)
    try:
        run = prepare(session, packing, one.content, filename=one.filename)
        alike = placing.recorded_alike(session, packing, run.trace)
        if alike is not None and not one.facts.another_run:
            raise alike
        logging.refuse_without_transitions(packing, run)
    except Refusal as refusal:
        return Foreseen(refusal=refusal)
    usable = tuple(found.plan.name for found in run.transitions if found.usable)
    start = _start(packing, one, run, zone=zone, at=at)
    return Foreseen(cycle=one.facts.number, started_at=start, usable=usable)


def _placed(
    session: Session, packing: Packing, runs: Sequence[Arriving], *, zone: tzinfo, at: datetime
) -> list[Arriving | Arrived]:
    """Return each run, analysed, with its number where its start tells one, or its refusal."""
    placed: list[Arriving | Arrived] = list(runs)
    starts: dict[int, datetime] = {}
    seen: set[bytes] = set()
    for place, one in enumerate(runs):
        if one.facts.number is not None or one.content in seen or _known(session, packing, one) is not None:
            continue
        seen.add(one.content)
        try:
            before = prepared(session, packing, (one.content, one.filename, Corrections()), one.before)
        except Refusal as refusal:
            placed[place] = Arrived(None, refusal)
            continue
        placed[place] = replace(one, before=before)
        start = _start(packing, one, before.run, zone=zone, at=at)
        if start is not None:
            starts[place] = start
    given = numbered(list(starts.items()), _told(session, packing, runs))
    for place, start in starts.items():
        number = given[place]
        found = placed[place]
        if number is None:
            placed[place] = _no_number(start)
        elif isinstance(found, Arriving):
            placed[place] = replace(found, facts=replace(found.facts, number=number, started_at=start))
    return placed


def _told(session: Session, packing: Packing, runs: Sequence[Arriving]) -> list[tuple[int, datetime]]:
    """Return number and start of every run that has both, recorded or arriving."""
    arriving = [
        (one.facts.number, one.facts.started_at)
        for one in runs
        if one.facts.number is not None and one.facts.started_at is not None
    ]
    return [*cycle_queries.starts(session, packing.id), *arriving]


def _no_number(start: datetime) -> Arrived:
    refusal = Conflict(
        f"This run started on {start:%Y-%m-%d}; no cycle number is free between those recorded around it.",
        where="number",
        mend="Give its number, or have a wrong run voided first.",
        code="no-number-free",
    )
    return Arrived(None, refusal)


def _start(
    packing: Packing, one: Arriving, run: AnalysedRun, *, zone: tzinfo, at: datetime
) -> datetime | None:
    return one.facts.started_at or logging.possible_start(packing, run, zone=zone, at=at)[0]


def _known(session: Session, packing: Packing, one: Arriving) -> LoggedRun | None:
    sha256 = hashlib.sha256(one.content).hexdigest()
    cycle = cycle_queries.logged_from(session, packing.id, sha256)
    return logging.recorded_before(session, packing, cycle, sha256) if cycle is not None else None


def _order(one: Arriving | Arrived) -> tuple[bool, int]:
    number = one.facts.number if isinstance(one, Arriving) else None
    return (number is None, number or 0)


def _log(
    session: Session,
    packing: Packing,
    one: Arriving,
    came_by: CameBy,
    by: User,
    at: datetime,
    zone: tzinfo,
) -> Arrived:
    try:
        with session.begin_nested():
            logged = logging.log_run(
                session,
                packing,
                one.content,
                filename=one.filename,
                facts=one.facts,
                came_by=came_by,
                by=by,
                at=at,
                zone=zone,
                before=one.before,
                judge=False,
            )
    except Refusal as refusal:
        return Arrived(None, refusal)
    return Arrived(logged, None)


def _with_verdict(one: Arrived, verdicts: dict[int, Judgement]) -> Arrived:
    if one.logged is None or one.logged.already:
        return one
    return Arrived(replace(one.logged, judgement=verdicts.get(one.logged.cycle.id)), None)


def _write_down(
    session: Session, packing: Packing, count: int, *, reason: str, by: User, at: datetime
) -> None:
    said = (
        f"Imported {count} earlier runs of {packing.column.name}, packing {packing.number}, from their traces"
    )
    records.write(
        session,
        by=by,
        at=at,
        did="import",
        thing="packing",
        thing_id=packing.id,
        said=said,
        why=reason.strip(),
    )
