"""What a campaign review asks, and what it finds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from beadline.features.drift.schemas import CycleCurve
from beadline.kit.looks import Kind
from beadline.science.drift import Prospect
from beadline.science.hydraulics import Margins
from beadline.science.pool import Pool

Verdict = Literal["ok", "caution", "stop", "not known"]
Decision = Literal["use", "use with conditions", "pulse test first", "repack", "replace resin"]
CheckName = Literal[
    "forecast",
    "cycles of the packing",
    "cycles of the resin lot",
    "pulse test",
    "condition",
    "alerts",
    "runs",
    "pressure",
    "pool",
    "storage",
]

DECISIONS: tuple[Decision, ...] = (
    "use",
    "use with conditions",
    "pulse test first",
    "repack",
    "replace resin",
)
CHECKS: tuple[CheckName, ...] = (
    "forecast",
    "cycles of the packing",
    "cycles of the resin lot",
    "pulse test",
    "condition",
    "alerts",
    "runs",
    "pressure",
    "pool",
    "storage",
)
QUESTIONS: dict[CheckName, str] = {
    "forecast": "does every limited metric stay within its limits to the last planned cycle?",
    "cycles of the packing": "does the packing's registered number of cycles last?",
    "cycles of the resin lot": "does the resin's registered number of cycles last, over the lot's packings?",
    "pulse test": "is the bed qualified, and recently enough?",
    "condition": "how does the bed stand now?",
    "alerts": "is an alert open?",
    "runs": "could the recent runs be used, and were they judged?",
    "pressure": "what is left up to packing pressure, resin limit and hardware rating?",
    "pool": "does the tank hold the pool with the spread foreseen for the last cycle?",
    "storage": "how long will the bed have rested?",
}
KIND_OF: dict[Verdict, Kind] = {"ok": "ok", "caution": "watch", "stop": "act", "not known": "void"}
MEANINGS = {"engineer": "reviewed and decided", "quality": "approved"}
LONGEST_CAMPAIGN = 600  # cycles; beyond that nothing is foreseen


@dataclass(frozen=True, slots=True)
class Plan:
    """What is planned: product, cycles, start, and the pool with its tank [L] where they are known."""

    product: str
    cycles: int
    starts_on: date
    pool_volume_l: float | None = None
    pool_tank_l: float | None = None


@dataclass(frozen=True, slots=True)
class Policy:
    """What this site asks of a bed before a campaign.

    Attributes
    ----------
    pulse_test_days : int
        Days for which a pulse test counts.
    pulse_test_cycles : int
        Cycles for which it counts; 0 for any number.
    storage_days : int
        Days that a bed may rest.
    left_out : frozenset of str
        Names of checks that are not made here.
    """

    pulse_test_days: int = 365
    storage_days: int = 90
    left_out: frozenset[str] = frozenset()
    pulse_test_cycles: int = 0


@dataclass(frozen=True, slots=True)
class OpenAlert:
    """An alert that is not closed."""

    id: int
    level: str
    status: str
    headline: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Foreseen:
    """The prospect of one metric with what it is measured against, in stored units.

    Attributes
    ----------
    label, unit : str
        As shown.
    factor, digits : float, int
        From the stored unit to the shown one, and how many digits are shown.
    past : tuple of (int, float)
        Cycle and value so far.
    alert, action : tuple
        Low and high limit, None where there is none.
    reached : {"", "alert", "action"}
        Limit that the median of the last three readings is beyond.
    """

    prospect: Prospect
    label: str
    unit: str
    factor: float
    digits: int
    past: tuple[tuple[int, float], ...]
    alert: tuple[float | None, float | None]
    action: tuple[float | None, float | None]
    reached: Literal["", "alert", "action"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """All that the checks look at."""

    plan: Plan
    policy: Policy
    foreseen: tuple[Foreseen, ...]
    used: int
    limit: int | None
    lot_used: int
    lot_limit: int | None
    test_verdict: str | None
    tested_at: datetime | None
    since_test: int
    condition: str
    alerts: tuple[OpenAlert, ...]
    recent_runs: int
    not_usable: tuple[int, ...]
    not_judged: tuple[int, ...]
    last_run_at: datetime | None
    margins: Margins | None
    pool: Pool | None
    pool_at_end: Pool | None
    curve: CycleCurve | None


@dataclass(frozen=True, slots=True)
class Check:
    """One question with its answer."""

    name: CheckName
    verdict: Verdict
    reason: str


@dataclass(frozen=True, slots=True)
class Fired:
    """A rule that applied, with the decision it asks for."""

    decision: Decision
    because: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """The gravest decision that a rule asks for, with all the rules that applied."""

    decision: Decision
    fired: tuple[Fired, ...]


@dataclass(frozen=True, slots=True)
class Signed:
    """A signature as shown; broken says what no longer fits, empty where it holds."""

    who: str
    role: str
    meaning: str
    at: datetime
    content_sha256: str
    broken: str


@dataclass(frozen=True, slots=True)
class Came:
    """What came of one metric since: readings in the campaign, inside the band, past its limits."""

    label: str
    unit: str
    readings: int
    expected: str
    inside: int | None
    past_alert: tuple[int, ...]
    past_action: tuple[int, ...]
    newest: str
