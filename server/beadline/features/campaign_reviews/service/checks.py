"""The checks before a campaign: facts in, a verdict with its reason out."""

from __future__ import annotations

from collections.abc import Sequence

from beadline.features.campaign_reviews.schemas import CHECKS, Check, CheckName, Facts, Foreseen, Verdict
from beadline.kit import words

NEAR = 0.9  # share of a cycle limit from which it counts as near
LIKELY, EVEN = 0.9, 0.5  # probabilities of staying within the action limits


def all_checks(facts: Facts) -> tuple[Check, ...]:
    """Make every check that the site uses, in the order of the page."""
    made = {
        "forecast": forecast,
        "cycles of the packing": cycles_of_the_packing,
        "cycles of the resin lot": cycles_of_the_resin_lot,
        "pulse test": pulse_test,
        "condition": condition,
        "alerts": alerts,
        "runs": runs,
        "pressure": pressure,
        "pool": pool,
        "storage": storage,
    }
    return tuple(made[name](facts) for name in CHECKS if name not in facts.policy.left_out)


def forecast(facts: Facts) -> Check:
    """Does every limited metric stay within its limits to the last planned cycle?"""
    order: tuple[Verdict, ...] = ("stop", "caution", "not known", "ok")
    if not facts.foreseen:
        return Check(
            "forecast", "not known", "The bed has no limits yet; its baseline is still being learnt."
        )
    said: dict[tuple[Verdict, str], list[str]] = {}
    for one in facts.foreseen:
        said.setdefault(_of_metric(one, facts.plan.cycles), []).append(_in_a_sentence(one.label))
    worst = min((verdict for verdict, _ in said), key=order.index)
    sentences = (f"{_listed(names)}: {what}." for (verdict, what), names in said.items() if verdict == worst)
    return Check("forecast", worst, " ".join(sentences))


def _of_metric(one: Foreseen, planned: int) -> tuple[Verdict, str]:
    """Return the verdict on one metric, and why."""
    found, seen = one.prospect, len(one.past)
    if one.reached == "action":
        return "stop", "past the action limit already"
    if found.basis == "too few cycles":
        return "not known", "too few cycles since the last change to foresee anything"
    if found.basis == "beyond what can be foreseen":
        return "not known", f"{planned} cycles are more than the trend can foresee"
    if found.basis == "no steady trend":
        if one.reached:
            return "caution", "past the alert limit, without a steady trend"
        if planned > seen:
            return "not known", f"no steady trend, but more cycles are planned than were seen ({seen})"
        return "ok", f"within limits, without a steady trend over {seen} cycles"
    which, chance = ("action", found.within_action)
    if chance is None:
        which, chance = ("alert", found.within_alert)
    if chance is None:
        return "not known", "a trend, but no limit on its way"
    said = f"stays within the {which} limits with a probability of {_percent(chance)}"
    if chance < EVEN:
        return "stop", said
    return ("caution" if chance < LIKELY or one.reached else "ok"), said


def _in_a_sentence(label: str) -> str:
    return label if label[1:2].isupper() else label[:1].lower() + label[1:]


def _listed(names: Sequence[str]) -> str:
    said = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
    return said[:1].upper() + said[1:]


def _percent(chance: float) -> str:
    if chance > 0.99:
        return "over 99 %"
    return "under 1 %" if chance < 0.01 else f"{chance:.0%}".replace("%", " %")


def cycles_of_the_packing(facts: Facts) -> Check:
    """Does the packing's registered number of cycles last?"""
    return _cycles("cycles of the packing", "packing", facts.used, facts.limit, facts.plan.cycles)


def cycles_of_the_resin_lot(facts: Facts) -> Check:
    """Does the resin's registered number of cycles last, over all packings of the lot?"""
    return _cycles("cycles of the resin lot", "resin lot", facts.lot_used, facts.lot_limit, facts.plan.cycles)


def _cycles(name: CheckName, thing: str, used: int, limit: int | None, planned: int) -> Check:
    after = f"{used} cycles used and {planned} planned make {used + planned}"
    if limit is None:
        return Check(name, "not known", f"No cycle limit is registered for the {thing}; {after}.")
    if used + planned > limit:
        return Check(name, "stop", f"{after}, over the {thing}'s limit of {limit}.")
    near = used + planned >= NEAR * limit
    said = f"{after}, {'near' if near else 'within'} the {thing}'s limit of {limit}."
    return Check(name, "caution" if near else "ok", said)


def pulse_test(facts: Facts) -> Check:
    """Is the bed qualified, and recently enough?"""
    if facts.test_verdict is None or facts.tested_at is None:
        return Check("pulse test", "stop", "No pulse test has been logged for this packing.")
    if facts.test_verdict != "pass":
        said = f"The newest pulse test is judged “{facts.test_verdict}”."
        return Check("pulse test", "stop", f"{said} Repeat it, and repack if it fails again.")
    days = (facts.plan.starts_on - facts.tested_at.date()).days
    allowed = facts.policy.pulse_test_days
    said = (
        f"The newest pulse test passed and will be {days} days old at the start; the site allows {allowed}."
    )
    most, run = facts.policy.pulse_test_cycles, facts.since_test + facts.plan.cycles
    if most:
        said += f" {run} cycles will have been run since; the site allows {most}."
    return Check("pulse test", "caution" if days > allowed or (most and run > most) else "ok", said)


def condition(facts: Facts) -> Check:
    """How does the bed stand now?"""
    verdicts: dict[str, Verdict] = {
        "in control": "ok",
        "learning baseline": "not known",
        "drifting": "caution",
        "not qualified": "caution",
        "on hold": "caution",
        "degraded": "stop",
    }
    then = " It is not to be run before it is released." if facts.condition == "on hold" else ""
    return Check("condition", verdicts[facts.condition], f"The bed is “{facts.condition}”.{then}")


def alerts(facts: Facts) -> Check:
    """Is an alert open?"""
    if not facts.alerts:
        return Check("alerts", "ok", "No alert of this bed is open.")
    grave = any(alert.level == "action" for alert in facts.alerts)
    said = "; ".join(f"alert {alert.id} ({alert.level} level, {alert.status})" for alert in facts.alerts)
    return Check("alerts", "stop" if grave else "caution", f"Open: {said}.")


def runs(facts: Facts) -> Check:
    """Could the recent runs be used, and were they judged?"""
    if not facts.recent_runs:
        return Check("runs", "not known", "No run of this packing has been logged.")
    parts = []
    if facts.not_usable:
        parts.append(f"not usable: cycle {_numbers(facts.not_usable)}")
    if facts.not_judged:
        parts.append(f"not judged: cycle {_numbers(facts.not_judged)}")
    of = f"Of the last {facts.recent_runs} runs"
    if not parts:
        return Check("runs", "ok", f"{of} all were usable and judged.")
    many = len(facts.not_usable) + len(facts.not_judged) > facts.recent_runs / 2
    return Check("runs", "stop" if many else "caution", f"{of}, {'; '.join(parts)}.")


def _numbers(numbers: tuple[int, ...]) -> str:
    return ", ".join(str(number) for number in numbers)


def pressure(facts: Facts) -> Check:
    """What is left up to packing pressure, resin limit and hardware rating?"""
    if facts.margins is None or not facts.margins.margins:
        return Check("pressure", "not known", "No pressure was logged, or no limit is registered.")
    codes = {doubt.code for doubt in facts.margins.doubts}
    if codes:
        passed = any(code.startswith("above_") for code in codes)
        said = " ".join(doubt.sentence for doubt in facts.margins.doubts)
        return Check("pressure", "stop" if passed else "caution", said)
    least = max(facts.margins.margins, key=lambda margin: margin.share)
    said = f"{words.number(least.acting_pa / 1e5, 3)} bar as run, {least.share:.0%} of the"
    return Check("pressure", "ok", f"{said} {least.name}, the nearest limit.".replace("%", " %"))


def pool(facts: Facts) -> Check:
    """Does the tank hold the pool with the spread foreseen for the last cycle?"""
    if facts.plan.pool_volume_l is None or facts.plan.pool_tank_l is None:
        return Check("pool", "not known", "Pool volume or tank is not known.")
    if facts.pool is None:
        return Check("pool", "not known", "There are no curves yet from which the pool's growth is seen.")
    now, end = (
        next((h for h in seen.holdings if h.share == 0.99), None) if seen else None
        for seen in (facts.pool, facts.pool_at_end)
    )
    if now is None or now.pool_m3 is None:
        return Check("pool", "not known", "The curves do not reach far enough to tell.")
    tank = f"the tank holds {words.number(facts.plan.pool_tank_l, 3)} L"
    takes = words.number(now.pool_m3.value * 1e3, 3)
    said = f"99 % of the product takes {takes} L with the bed as it is; {tank}."
    if now.overflows:
        return Check("pool", "stop", said)
    if end is None or end.pool_m3 is None:
        return Check("pool", "ok", said)
    late = f"{words.number(end.pool_m3.value * 1e3, 3)} L at the spread foreseen for the last cycle"
    if end.overflows:
        return Check("pool", "caution", f"99 % of the product may take {late}; {tank}.")
    return Check("pool", "ok", f"99 % of the product takes at most {late}; {tank}.")


def storage(facts: Facts) -> Check:
    """How long will the bed have rested?"""
    if facts.last_run_at is None:
        return Check("storage", "not known", "No run has been logged, so nobody can say how long it rested.")
    days, allowed = (facts.plan.starts_on - facts.last_run_at.date()).days, facts.policy.storage_days
    said = f"Days since the last run at the start: {max(days, 0)}; the site allows {allowed}."
    if days > 2 * allowed:
        return Check("storage", "stop", said)
    return Check("storage", "caution" if days > allowed else "ok", said)
