"""Change the baseline and the limits of a bed: first see what it would do, then save it with a reason."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.alerts import service as alerts
from beadline.features.drift import queries as drift_queries
from beadline.features.drift import service as drift
from beadline.features.drift.schemas import Judged
from beadline.features.intake.schemas import ChangedAlert, ChangedVerdict, WouldChange
from beadline.features.intake.service import logging, settings_words
from beadline.features.packings import queries as packing_queries
from beadline.features.records import service as records
from beadline.kit import looks, words
from beadline.kit.errors import Conflict, Invalid
from beadline.science.drift import Settings
from beadline.store.tables import Alert, Baseline, Packing, User


def present_settings(session: Session, packing: Packing) -> Settings:
    """Return the settings by which a bed is watched, the shipped ones if nobody has chosen any."""
    found = drift_queries.baseline(session, packing.id)
    return Settings.from_dict(found.settings) if found is not None else Settings()


def would_change(session: Session, packing: Packing, proposed: Settings, *, fix: bool) -> WouldChange:
    """Judge a bed's life under proposed settings without storing anything.

    Raises
    ------
    Invalid
        If the baseline is to be fixed but would not be complete.
    """
    version = drift_queries.baseline(session, packing.id)
    present = present_settings(session, packing)
    proposed = _with_cycles_fixed(session, packing, present, proposed, fix=fix)
    before = drift.rehearse(session, packing, present)
    after = drift.rehearse(session, packing, proposed)
    told = [([drift.verdict_of(one.cycle, one.judgement) for one in life.judged]) for life in (before, after)]
    many_before, many_after = (Counter(verdicts) for verdicts in told)
    known = alerts.of_bed(session, packing)
    return WouldChange(
        settings=proposed,
        baseline=after.baseline,
        counts=tuple(
            (verdict, kind, many_before[verdict], many_after[verdict])
            for verdict, kind in looks.KIND_OF_VERDICT.items()
            if many_before[verdict] or many_after[verdict]
        ),
        verdicts=tuple(
            ChangedVerdict(
                cycle=one.cycle.number,
                before=old,
                kind_before=looks.KIND_OF_VERDICT[old],
                after=new,
                kind_after=looks.KIND_OF_VERDICT[new],
            )
            for one, old, new in zip(after.judged, *told, strict=True)
            if old != new
        ),
        alerts=tuple(_changed_alerts(known, before.judged, after.judged)),
        changes=settings_words.changes(present, proposed),
        seal=_seal(version, proposed),
    )


def change_baseline(
    session: Session,
    packing: Packing,
    proposed: Settings,
    *,
    fix: bool,
    seal: str,
    reason: str,
    by: User,
    at: datetime,
) -> Baseline:
    """Add a version of the baseline, judge the bed's life anew under it, and let its alerts follow.

    The caller has checked the password of who signs.

    Raises
    ------
    Invalid
        If no reason is given, nothing would be changed, or the baseline can't be fixed.
    Conflict
        If it is not what was shown, or the bed was unpacked.
    """
    if packing.unpacked_at is not None:
        raise Conflict("This bed was unpacked.", mend="The baseline that judged it stays as it is.")
    if not reason.strip():
        raise Invalid("The reason is missing.", where="reason", mend="Say why the baseline is changed.")
    packing_queries.lock(session, packing.id)  # no run is judged meanwhile
    present = present_settings(session, packing)
    proposed = _with_cycles_fixed(session, packing, present, proposed, fix=fix)
    if _seal(drift_queries.baseline(session, packing.id), proposed) != seal:
        mend = "Look at what it would change, then save."
        raise Conflict("These are not the settings whose effect was shown.", mend=mend, code="not-shown")
    changes = settings_words.changes(present, proposed)
    if not changes and not fix:
        raise Invalid("Nothing would be changed.", mend="Change a setting, or fix the baseline.")
    made = drift.add_version(session, packing, proposed, reason=reason.strip(), signed=fix, by=by, at=at)
    bed = f"{packing.column.name}, packing {packing.number}"
    said = f"Changed the baseline of {bed}, to version {made.version}"
    if fix:
        said += f", fixed and signed at cycles {words.runs(proposed.fixed_cycles)}"
    records.write(
        session,
        by=by,
        at=at,
        did="sign" if fix else "change",
        thing="baseline",
        thing_id=made.id,
        said=said,
        why=reason.strip(),
        before={label: old for label, old, _ in changes},
        after={label: new for label, _, new in changes} | {"sha256": drift.content_sha256(made)},
    )
    logging.judge_anew(session, packing, by=by, at=at)
    return made


def _with_cycles_fixed(
    session: Session, packing: Packing, present: Settings, proposed: Settings, *, fix: bool
) -> Settings:
    """Name the very cycles that a fixed baseline keeps: those of the present one where that stays."""
    free = replace(proposed, fixed_cycles=())
    if not fix:
        return free
    same = (present.baseline_cycles, present.baseline_start) == (free.baseline_cycles, free.baseline_start)
    if same and present.fixed_cycles:
        return replace(free, fixed_cycles=present.fixed_cycles)
    found = drift.rehearse(session, packing, free).baseline
    if not found:
        raise Invalid(
            "The baseline is not complete, so it can't be fixed.",
            where="fix",
            mend=f"It needs {free.baseline_cycles} usable cycles from cycle {free.baseline_start} on.",
        )
    return replace(free, fixed_cycles=found)


def _changed_alerts(
    known: Sequence[Alert], before: Sequence[Judged], after: Sequence[Judged]
) -> Iterator[ChangedAlert]:
    kept, has_event = alerts.matched(known, after), alerts.matched(known, before)
    highest = {one.judgement.alert.episode: one for one in after if one.judgement.alert is not None}
    for number, one in highest.items():
        event, alert = one.judgement.alert, kept.get(number)
        if event is None or (alert is not None and (alert.level == "action" or alert.level == event.level)):
            continue
        yield ChangedAlert(
            alert_id=alert.id if alert else None,
            cycle=event.opened,
            what="would reach the action limit" if alert else f"would be raised at the {event.level} limit",
            kind=looks.KIND_OF_LEVEL[event.level],
            headline=one.headline,
        )
    staying = {alert.id for alert in kept.values()}
    for alert in has_event.values():
        if alert.id not in staying:
            yield ChangedAlert(
                alert_id=alert.id,
                cycle=alert.raised_by_cycle.number,
                what="would have no event behind it; it stays on record as returned to normal",
                kind="void",
                headline=alert.headline,
            )


def _seal(version: Baseline | None, proposed: Settings) -> str:
    content = [version.version if version else 0, proposed.to_dict()]
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()
