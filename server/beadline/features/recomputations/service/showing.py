"""Recomputations as a page and the command show them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy.orm import Session

from beadline.features.pulse_tests.schemas.numbers import LEADS
from beadline.features.recomputations import queries
from beadline.features.recomputations.schemas import BedReport, BedView, MovedNumber
from beadline.features.recomputations.service import reporting
from beadline.kit import looks, words
from beadline.kit.errors import NotFound
from beadline.science import metrics
from beadline.store.tables import Recomputation

METRICS = metrics.by_name(metrics.TRANSITION)
PULSE_METRICS = metrics.by_name(metrics.PULSE)


def a_page(
    session: Session, *, number: int, per_page: int
) -> tuple[Sequence[tuple[Recomputation, int, int]], int]:
    """Return a page of recomputations, newest first, with all and finished beds, and how many there are."""
    found = queries.newest(session, limit=per_page, offset=(number - 1) * per_page)
    return found, queries.count(session)


def shown(session: Session, recomputation_id: int) -> tuple[Recomputation, tuple[BedView, ...]]:
    """Return a recomputation with the report of each of its beds.

    Raises
    ------
    NotFound
        If there is none.
    """
    found = _get(session, recomputation_id)
    beds = queries.beds(session, recomputation_id)
    return found, tuple(view(reporting.of(one.packing, one.report)) for one in beds)


def reports(
    session: Session, recomputation_id: int
) -> tuple[Recomputation, tuple[tuple[int, dict[str, Any]], ...]]:
    """Return a recomputation with packing and stored report of each bed, empty until it is finished.

    Raises
    ------
    NotFound
        If there is none.
    """
    beds = queries.beds(session, recomputation_id)
    return _get(session, recomputation_id), tuple((one.packing_id, one.report) for one in beds)


def _get(session: Session, recomputation_id: int) -> Recomputation:
    found = queries.by_id(session, recomputation_id)
    if found is None:
        said = f"There is no recomputation {recomputation_id}."
        raise NotFound(said, where="recomputation", mend="Open it from the page Recomputations.")
    return found


def view(bed: BedReport) -> BedView:
    """Write a report in the words and units of the screen."""
    found = bed.content
    href = f"/columns/{bed.asset_tag}?packing={bed.packing_id}"
    if not found:
        return BedView(href=href, bed_name=bed.bed_name)
    kinds = looks.KIND_OF_VERDICT
    return BedView(
        href=href,
        bed_name=bed.bed_name,
        summary=_summary(found),
        moved=tuple(_moved(one) for one in found["largest"]),
        verdicts=tuple(
            (one["cycle"], one["before"], kinds[one["before"]], one["after"], kinds[one["after"]])
            for one in found["verdicts"]
        ),
        alerts=tuple(
            (one["alert"], one["what"], looks.KIND_OF_LEVEL[one["level"]], one["headline"])
            for one in found["alerts"]
        ),
        skipped=tuple((one["cycle"], one["why"]) for one in found["skipped"]),
        pulse_tests=tuple(_of_pulse_test(one) for one in found.get("pulse_tests", ()) if _tells(one)),
        notes=tuple(_notes(found)),
    )


def _summary(found: Mapping[str, Any]) -> str:
    before, after = found["condition"]
    bed = f"The bed is {after}" + (f", before {before}." if after != before else " as before.")
    if not found["transitions"]:
        return f"{found['cycles']} cycles analysed; every result is the one that was stored. {bed}"
    methods = f"{', '.join(found['before']) or 'none'} to {', '.join(found['after'])}"
    return (
        f"{found['cycles']} cycles analysed; {found['transitions']} new results beside the old ones "
        f"({methods}), {found['changed']} of them changed. {bed}"
    )


def _tells(test: Mapping[str, Any]) -> bool:
    return bool(test["new"] or test["why"])


def _of_pulse_test(one: Mapping[str, Any]) -> tuple[int, looks.Kind, str]:
    """Say what became of a pulse test, in the words and units of the screen."""
    day = one["performed_at"][:10]
    if one["why"]:
        return one["test"], "void", f"Pulse test of {day} skipped, its old result stays: {one['why']}"
    (old, new), verdicts = one["methods"], one["verdicts"]
    verdict = (
        f"{verdicts[1]}, before {verdicts[0]}" if verdicts[0] != verdicts[1] else f"{verdicts[1]} as before"
    )
    said = f"Pulse test of {day}: {verdict} ({old} to {new})."
    if not one["changed"]:
        said += " No number changed."
    elif one["largest"]:
        moved = _moved(one["largest"] | {"transition": "", "cycle": 0}, PULSE_METRICS)
        unit = f" {moved.unit}" if moved.unit else ""
        said += f" {moved.label} changed most: {moved.before} to {moved.after}{unit} ({moved.in_u})."
    return one["test"], LEADS[verdicts[1]][0], said


def _moved(one: Mapping[str, Any], known: Mapping[str, metrics.Metric] = METRICS) -> MovedNumber:
    metric = known[one["metric"]]

    def written(pair: Sequence[float]) -> str:
        value, u = words.with_uncertainty(
            metric.shown(pair[0]), metric.shown_difference(pair[1]), metric.digits
        )
        return f"{value} (u {u})" if u.startswith("<") else f"{value} ± {u}"

    return MovedNumber(
        label=metric.label,
        unit=metric.unit,
        transition=one["transition"],
        cycle=one["cycle"],
        before=written(one["before"]),
        after=written(one["after"]),
        in_u=f"{one['in_u']:+.2f} u".replace("-", words.MINUS),
    )


def _notes(found: Mapping[str, Any]) -> list[str]:
    notes = []
    for one in found["usable"]:
        now = "usable now" if one["now"] else "not usable any more"
        notes.append(f"{one['transition']} of cycle {one['cycle']} is {now}.")
    if found["voided"]:
        notes.append(f"{found['voided']} voided: they count nowhere and stay as they were.")
    if found["typed"]:
        notes.append(f"{found['typed']} typed by hand or from a sheet: there is no trace to analyse.")
    if not found["alerts_followed"]:
        notes.append("The bed was unpacked, so its alerts stay as they were.")
    return notes
