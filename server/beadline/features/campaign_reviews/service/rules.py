"""The rules by which checks become a proposed decision; each can be read, and each that applied is shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from beadline.features.campaign_reviews.schemas import (
    DECISIONS,
    Check,
    CheckName,
    Decision,
    Fired,
    Proposal,
    Verdict,
)


@dataclass(frozen=True, slots=True)
class Rule:
    """Where this check has this verdict, this decision is asked for."""

    check: CheckName
    verdict: Verdict
    decision: Decision


RULES: tuple[Rule, ...] = (
    Rule("cycles of the resin lot", "stop", "replace resin"),
    Rule("cycles of the packing", "stop", "repack"),
    Rule("forecast", "stop", "repack"),
    Rule("condition", "stop", "repack"),
    Rule("pressure", "stop", "repack"),
    Rule("pulse test", "stop", "pulse test first"),
    Rule("pulse test", "caution", "pulse test first"),
    Rule("storage", "stop", "pulse test first"),
    Rule("alerts", "stop", "pulse test first"),
    Rule("runs", "stop", "pulse test first"),
    Rule("pool", "stop", "use with conditions"),
    Rule("forecast", "caution", "use with conditions"),
    Rule("forecast", "not known", "use with conditions"),
    Rule("cycles of the packing", "caution", "use with conditions"),
    Rule("cycles of the resin lot", "caution", "use with conditions"),
    Rule("condition", "caution", "use with conditions"),
    Rule("condition", "not known", "use with conditions"),
    Rule("alerts", "caution", "use with conditions"),
    Rule("runs", "caution", "use with conditions"),
    Rule("pressure", "caution", "use with conditions"),
    Rule("pool", "caution", "use with conditions"),
    Rule("storage", "caution", "use with conditions"),
)


def propose(checks: Sequence[Check]) -> Proposal:
    """Return the gravest decision that a rule asks for; "use" where none applies.

    Examples
    --------
    >>> propose([Check("forecast", "ok", "")]).decision
    'use'
    >>> both = [Check("storage", "caution", "It rested."), Check("cycles of the packing", "stop", "Used up.")]
    >>> found = propose(both)
    >>> found.decision, [fired.because for fired in found.fired]
    ('repack', ['Used up.', 'It rested.'])
    """
    said = {(check.name, check.verdict): check.reason for check in checks}
    fired = tuple(
        Fired(rule.decision, said[rule.check, rule.verdict])
        for rule in RULES
        if (rule.check, rule.verdict) in said
    )
    gravest = max((one.decision for one in fired), key=DECISIONS.index, default=DECISIONS[0])
    return Proposal(gravest, fired)
