"""The checks before a campaign and the rules that follow from them, without any database.

What each check asks for is common practice, no source: cycle limits of resin and packing are validated
numbers, a bed is qualified by a pulse test within an interval, pressure stays below the lowest rating.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from beadline.features.campaign_reviews.schemas import (
    CHECKS,
    Check,
    Facts,
    Foreseen,
    OpenAlert,
    Plan,
    Policy,
)
from beadline.features.campaign_reviews.service import checks, rules
from beadline.science import hydraulics
from beadline.science.drift import Prospect

STEADY = Prospect(
    key="wash/hetp_moments",
    basis="steady trend",
    cycles=(41, 42),
    low=(1.0, 1.1),
    median=(1.1, 1.2),
    high=(1.2, 1.3),
    within_alert=0.9,
    within_action=0.95,
    left=(),
)
PLATE_HEIGHT = Foreseen(
    prospect=STEADY,
    label="plate height",
    unit="cm",
    factor=1.0,
    digits=3,
    past=tuple((n, 1.0) for n in range(1, 41)),
    alert=(None, 1.4),
    action=(None, 1.5),
    reached="",
)
HEALTHY = Facts(
    plan=Plan("an enzyme", 20, date(2031, 3, 12)),
    policy=Policy(pulse_test_days=365, storage_days=90),
    foreseen=(PLATE_HEIGHT,),
    used=40,
    limit=100,
    lot_used=60,
    lot_limit=200,
    test_verdict="pass",
    tested_at=datetime(2030, 12, 1, 8, tzinfo=UTC),
    since_test=30,
    condition="in control",
    alerts=(),
    recent_runs=20,
    not_usable=(),
    not_judged=(),
    last_run_at=datetime(2031, 3, 1, 8, tzinfo=UTC),
    margins=hydraulics.margins(inlet_pressure_pa=1e5, pressure_drop_pa=1e5, hardware_rating_pa=3e5),
    pool=None,
    pool_at_end=None,
    curve=None,
)


def with_chance(chance: float | None, **changes: object) -> Foreseen:
    return replace(PLATE_HEIGHT, prospect=replace(STEADY, within_action=chance, **changes))  # type: ignore[arg-type]


def with_pressure(pa: float) -> hydraulics.Margins:
    return hydraulics.margins(inlet_pressure_pa=pa, pressure_drop_pa=pa, hardware_rating_pa=3e5)


def test_a_healthy_bed_may_be_used():
    made = checks.all_checks(HEALTHY)
    assert [check.name for check in made] == list(CHECKS)
    assert {check.verdict for check in made if check.name != "pool"} == {"ok"}
    assert rules.propose(made) == rules.Proposal("use", ())


@pytest.mark.parametrize(
    ("name", "changes", "verdict", "decision"),
    [
        ("forecast", {"foreseen": (with_chance(0.7),)}, "caution", "use with conditions"),
        ("forecast", {"foreseen": (with_chance(0.2),)}, "stop", "repack"),
        ("forecast", {"foreseen": (replace(PLATE_HEIGHT, reached="action"),)}, "stop", "repack"),
        ("forecast", {"foreseen": ()}, "not known", "use with conditions"),
        (
            "forecast",
            {"foreseen": (with_chance(None, basis="too few cycles"),)},
            "not known",
            "use with conditions",
        ),
        ("cycles of the packing", {"limit": 59}, "stop", "repack"),
        ("cycles of the packing", {"limit": 60}, "caution", "use with conditions"),
        ("cycles of the packing", {"limit": None}, "not known", "use"),
        ("cycles of the resin lot", {"lot_limit": 79}, "stop", "replace resin"),
        ("pulse test", {"test_verdict": None}, "stop", "pulse test first"),
        ("pulse test", {"test_verdict": "fail"}, "stop", "pulse test first"),
        ("pulse test", {"policy": Policy(pulse_test_days=100)}, "caution", "pulse test first"),
        ("pulse test", {"policy": Policy(pulse_test_cycles=49)}, "caution", "pulse test first"),
        ("pulse test", {"policy": Policy(pulse_test_cycles=50)}, "ok", "use"),
        ("condition", {"condition": "degraded"}, "stop", "repack"),
        ("condition", {"condition": "drifting"}, "caution", "use with conditions"),
        ("alerts", {"alerts": (OpenAlert(3, "alert", "raised", ""),)}, "caution", "use with conditions"),
        ("alerts", {"alerts": (OpenAlert(3, "action", "shelved", ""),)}, "stop", "pulse test first"),
        ("runs", {"not_usable": (38,)}, "caution", "use with conditions"),
        ("runs", {"not_judged": tuple(range(25, 37))}, "stop", "pulse test first"),
        ("pressure", {"margins": with_pressure(2.8e5)}, "caution", "use with conditions"),
        ("pressure", {"margins": with_pressure(3.1e5)}, "stop", "repack"),
        ("pressure", {"margins": None}, "not known", "use"),
        ("storage", {"last_run_at": datetime(2030, 12, 1, tzinfo=UTC)}, "caution", "use with conditions"),
        ("storage", {"last_run_at": datetime(2030, 6, 1, tzinfo=UTC)}, "stop", "pulse test first"),
    ],
)
def test_one_thing_amiss_is_said_and_decides(
    name: str, changes: dict[str, object], verdict: str, decision: str
):
    made = checks.all_checks(replace(HEALTHY, **changes))  # type: ignore[arg-type]
    found = next(check for check in made if check.name == name)
    assert found.verdict == verdict, found.reason
    assert rules.propose(made).decision == decision
    others = [check for check in made if check.name not in (name, "pool")]
    assert {check.verdict for check in others} == {"ok"}


def test_a_metric_without_a_trend_is_not_taken_to_last_longer_than_it_was_seen():
    calm = with_chance(None, basis="no steady trend")
    for planned, verdict in ((40, "ok"), (41, "not known")):
        plan = replace(HEALTHY.plan, cycles=planned)
        assert checks.forecast(replace(HEALTHY, foreseen=(calm,), plan=plan)).verdict == verdict


def test_the_worst_metric_speaks_for_the_forecast():
    foot = replace(with_chance(0.1), label="early foot")
    found = checks.forecast(replace(HEALTHY, foreseen=(PLATE_HEIGHT, foot)))
    assert (found.verdict, "Early foot" in found.reason, "plate height" in found.reason) == (
        "stop",
        True,
        False,
    )


def test_the_gravest_rule_decides_and_every_rule_is_shown():
    made = [
        Check("storage", "caution", "It rested."),
        Check("cycles of the resin lot", "stop", "The lot is used up."),
        Check("pulse test", "caution", "It is old."),
    ]
    found = rules.propose(made)
    assert found.decision == "replace resin"
    assert {fired.because for fired in found.fired} == {check.reason for check in made}


def test_a_check_that_a_site_leaves_out_is_not_made():
    without = replace(HEALTHY, policy=Policy(left_out=frozenset({"storage", "pool"})))
    assert {check.name for check in checks.all_checks(without)} == set(CHECKS) - {"storage", "pool"}


def test_every_rule_can_apply():
    """No rule waits for a verdict that its check never gives."""
    assert {rule.check for rule in rules.RULES} <= set(CHECKS)
    assert len({(rule.check, rule.verdict) for rule in rules.RULES}) == len(rules.RULES)
