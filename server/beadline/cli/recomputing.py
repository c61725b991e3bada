"""Analyse stored traces again."""

from __future__ import annotations

import argparse
import json
import sys
from typing import Any

from sqlalchemy import Engine

from beadline.cli.signing_in import who_may
from beadline.features.recomputations import jobs
from beadline.features.recomputations import service as recomputations
from beadline.features.recomputations.schemas import BedReport, BedView
from beadline.kit import clock
from beadline.kit.errors import Conflict
from beadline.settings import load
from beadline.store import migrate as migrations
from beadline.store.engine import make_engine, reading_sessions, writing_sessions


def recompute(parsed: argparse.Namespace) -> int:
    """Recompute the beds that are asked for, print what changed, and return 0 if all are finished."""
    engine = make_engine(load().database_url)
    try:
        if not migrations.is_current(engine):
            mend = "Run `beadline migrate` first."
            raise Conflict("The database's tables are not those of this version.", mend=mend)
        return _recompute(parsed, engine)
    finally:
        engine.dispose()


def _recompute(parsed: argparse.Namespace, engine: Engine) -> int:
    new_session = writing_sessions(engine)
    by = who_may("recompute", new_session, user=parsed.user, at=clock.now())
    reports: list[dict[str, Any]] = []

    def told(report: BedReport) -> None:
        reports.append({"bed": report.bed_name, **report.content})
        print("\n".join(_lines(recomputations.view(report))), file=sys.stderr if parsed.json else sys.stdout)

    chosen = jobs.on_scheduler(parsed.scheduler) if parsed.scheduler else jobs.local(parsed.processes)
    with chosen as workers:
        means = jobs.Means(new_session, reading_sessions(engine), workers, by, clock.now)
        if parsed.dry_run:
            jobs.rehearse(means, column=parsed.column, reason=parsed.reason, told=told)
            end, done = "Nothing was changed: this was a rehearsal.", True
        else:
            with new_session.begin() as session:
                order = recomputations.begin(
                    session, column=parsed.column, reason=parsed.reason, by=by, at=clock.now()
                )
            done = jobs.run(means, order.id, told=told)
            end = f"Recomputation {order.id} is finished; its report is under Records, Recomputations."
            if not done:
                end = f"The beds left of recomputation {order.id} are worked on by another process."
    if parsed.json:
        print(json.dumps({"dry_run": parsed.dry_run, "finished": done, "beds": reports}, indent=2))
    print(end, file=sys.stderr if parsed.json else sys.stdout)
    return 0


def _lines(bed: BedView) -> list[str]:
    lines = [f"{bed.bed_name}: {bed.summary}"]
    for one in bed.moved:
        where = f"{one.transition}, cycle {one.cycle}"
        unit = f" {one.unit}" if one.unit else ""
        lines.append(f"  {one.label}: largest change {one.in_u}, {one.before} to {one.after}{unit} ({where})")
    lines += [f"  Cycle {cycle}: {old} before, {new} now" for cycle, old, _, new, _ in bed.verdicts]
    lines += [f"  Alert {number} {what}: {headline}" for number, what, _, headline in bed.alerts]
    lines += [f"  {text}" for _, _, text in bed.pulse_tests]
    lines += [f"  Cycle {cycle} skipped, its old results stay: {why}" for cycle, why in bed.skipped]
    return lines + [f"  {note}" for note in bed.notes]
