"""By what a bed's cycles are judged: read it, try other settings, save them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from pydantic import BaseModel, ConfigDict, Field

from beadline.boundary.deps import Now, Person, ReadSession, Session, Viewer, WriteSession, allowed
from beadline.features.accounts import service as accounts
from beadline.features.intake import service as intake
from beadline.features.intake.schemas import Version
from beadline.features.intake.service import limiting
from beadline.features.intake.service.limiting import FEWEST_CYCLES_PER_ALARM, MOST_CYCLES_PER_ALARM, WHOLE
from beadline.features.packings import service as packings
from beadline.kit.errors import Invalid
from beadline.science.drift import FixedLimits, Settings
from beadline.store.tables import Packing

router = APIRouter(prefix="/api/v1/packings/{packing_id}/baseline", tags=["baseline"])
Keeper = Annotated[Person, Depends(allowed("set baseline"))]
Rate = Annotated[float, Field(ge=FEWEST_CYCLES_PER_ALARM, le=MOST_CYCLES_PER_ALARM)]


class Change(BaseModel):
    """A setting that differs, in the words of the screen."""

    setting: str
    before: str
    after: str


class VersionLine(BaseModel):
    """A version of a bed's settings, and what it changed."""

    number: int
    made_at: datetime
    made_by: str
    reason: str
    signed: str = Field(description="signed, not signed, or broken.")
    sha256: str
    changes: list[Change]


class PresentBaseline(BaseModel):
    """How a bed is watched now, and every version of that, the newest first."""

    settings: dict[str, Any] = Field(description="As stored; limits by procedure in SI units, by key.")
    said: str
    versions: list[VersionLine]


class Limits(BaseModel):
    """Limits by procedure of one number, in its stored unit; null where there is none."""

    model_config = ConfigDict(extra="forbid")

    alert_low: float | None = None
    alert_high: float | None = None
    action_low: float | None = None
    action_high: float | None = None


class Proposal(BaseModel):
    """Other settings; what is left out stays as it is."""

    model_config = ConfigDict(extra="forbid")

    baseline_cycles: int | None = Field(None, ge=WHOLE["baseline_cycles"][0], le=WHOLE["baseline_cycles"][1])
    baseline_start: int | None = Field(None, ge=WHOLE["baseline_start"][0], le=WHOLE["baseline_start"][1])
    one_false_alarm_in: Rate | None = None
    action_one_in: Rate | None = None
    use_fleet: bool | None = None
    fixed_limits: dict[str, Limits] | None = Field(
        None, description="By transition/metric, or metric of the whole cycle; replaces those named."
    )
    fix: bool = Field(False, description="Keep the very cycles that define normal; needs a signature.")


class Saving(Proposal):
    """What was tried, to be saved."""

    seal: str = Field(description="As the trial gave it, so that what is saved is what was shown.")
    reason: str
    password: str = Field("", description="Of who signs, again; needed with `fix`.")


class OtherVerdict(BaseModel):
    """A cycle that would be judged differently."""

    cycle: int
    before: str
    after: str


class OtherAlert(BaseModel):
    """What would become of an alert; without an id it would be new."""

    alert_id: int | None
    cycle: int
    what: str
    headline: str


class Trial(BaseModel):
    """What the proposed settings would have made of the bed's life."""

    settings: dict[str, Any]
    baseline: list[int] = Field(description="Cycles that would define normal; empty while they are learnt.")
    changes: list[Change]
    verdicts: list[OtherVerdict]
    alerts: list[OtherAlert]
    seal: str


@router.get("")
def present(session: ReadSession, viewer: Viewer, packing_id: int) -> PresentBaseline:
    """Tell by what a bed's cycles are judged."""
    packing = packings.get(session, packing_id)
    return PresentBaseline(
        settings=intake.present_settings(session, packing).to_dict(),
        said=intake.present_note(session, packing),
        versions=[_line(version) for version in intake.versions(session, packing)],
    )


@router.post("/trial")
def try_out(session: ReadSession, keeper: Keeper, packing_id: int, said: Proposal) -> Trial:
    """Judge the bed's life under other settings; nothing is stored."""
    packing = packings.get(session, packing_id)
    shown = intake.would_change(session, packing, _proposed(session, packing, said), fix=said.fix)
    return Trial(
        settings=shown.settings.to_dict(),
        baseline=list(shown.baseline),
        changes=_changes(shown.changes),
        verdicts=[OtherVerdict(cycle=v.cycle, before=v.before, after=v.after) for v in shown.verdicts],
        alerts=[
            OtherAlert(alert_id=a.alert_id, cycle=a.cycle, what=a.what, headline=a.headline)
            for a in shown.alerts
        ],
        seal=shown.seal,
    )


@router.post("", status_code=201)
def save(
    request: Request, session: WriteSession, keeper: Keeper, now: Now, packing_id: int, said: Saving
) -> PresentBaseline:
    """Add a version, judge the bed's life anew under it, and let its alerts follow."""
    if said.fix:
        accounts.confirm(request.app.state.new_session, keeper.user, said.password, at=now)
    packing = packings.get(session, packing_id)
    proposed = _proposed(session, packing, said)
    intake.change_baseline(
        session,
        packing,
        proposed,
        fix=said.fix,
        seal=said.seal,
        reason=said.reason,
        by=keeper.user,
        at=now,
    )
    return present(session, keeper, packing_id)


def _proposed(session: Session, packing: Packing, said: Proposal) -> Settings:
    present = intake.present_settings(session, packing)
    plain = ("baseline_cycles", "baseline_start", "one_false_alarm_in", "action_one_in", "use_fleet")
    given = {name: value for name in plain if (value := getattr(said, name)) is not None}
    limiting.check_rates(
        given.get("one_false_alarm_in", present.one_false_alarm_in),
        given.get("action_one_in", present.action_one_in),
    )
    limits, known = dict(present.fixed_limits), dict(limiting.limited(packing))
    for key, chosen in (said.fixed_limits or {}).items():
        if key not in known:
            mend = f"Give one of: {', '.join(known)}."
            raise Invalid(f"No limits can be set for {key!r}.", where="fixed_limits", mend=mend)
        wanted = FixedLimits(**chosen.model_dump())
        limiting.check_order(wanted, known[key].label, where=f"fixed_limits.{key}")
        limits.pop(key, None)
        if wanted != FixedLimits():
            limits[key] = wanted
    return replace(present, **given, fixed_limits=limits)


def _line(version: Version) -> VersionLine:
    plain = {name: getattr(version, name) for name in VersionLine.model_fields}
    return VersionLine(**plain | {"changes": _changes(version.changes)})


def _changes(found: Sequence[tuple[str, str, str]]) -> list[Change]:
    return [Change(setting=label, before=before, after=after) for label, before, after in found]
