"""A pulse test's verdict in words, its numbers and checks as lines of a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from beadline.kit import looks, words
from beadline.science import metrics
from beadline.store.tables import EarlierPulseResult, PulseTest

LEADS: dict[str, tuple[looks.Kind, str]] = {
    "pass": ("ok", "The bed passes."),
    "fail": ("act", "The bed does not pass."),
    "not valid": ("void", "The test itself can't be trusted."),
}


def lede(test: PulseTest) -> looks.Lede:
    """Say the verdict and what decided: the criteria not met, or what makes the test or its peak doubtful."""
    kind, lead = LEADS[test.verdict]
    failed = [check["sentence"] for check in test.checks if not check["ok"]]
    doubts = [doubt["sentence"] for doubt in test.doubts]
    if test.verdict == "not valid":
        return looks.Lede(lead, " ".join(doubts), kind)
    why = failed or (doubts if test.verdict == "fail" else ["Every criterion is met."])
    return looks.Lede(lead, " ".join(why), kind)


def groups(
    test: PulseTest | EarlierPulseResult, criteria: Mapping[str, Any]
) -> list[tuple[str, list[looks.NumberLine]]]:
    """Return the numbers as measured and of the bed alone, with limits beside those that are judged."""
    found_of = [("As measured", test.estimates)]
    if test.corrected:
        found_of.append(("Of the bed alone, injection and system taken off", test.corrected))
    judged = found_of[-1 if criteria.get("corrected") else 0][0]
    checks = {check["name"]: check for check in test.checks}
    return [
        (
            title,
            [
                _line(
                    label_of(metric, test.settings),
                    metric,
                    found.get(metric.name),
                    test.withheld,
                    checks if title == judged else {},
                )
                for metric in metrics.PULSE
            ],
        )
        for title, found in found_of
    ]


def label_of(metric: metrics.Metric, settings: Mapping[str, Any]) -> str:
    """Return the number's name with the height at which it was read."""
    level = settings.get(f"{metric.name.split('_')[0]}_level")
    if metric.name not in ("asymmetry", "tailing_factor") or level is None:
        return metric.label
    return f"{metric.label.rsplit(' at ', 1)[0]} at {100 * level:g} %"


def _line(
    label: str,
    metric: metrics.Metric,
    pair: Sequence[float] | None,
    withheld: Mapping[str, str],
    checks: Mapping[str, Mapping[str, Any]],
) -> looks.NumberLine:
    value, u = "", ""
    if pair is not None:
        best, doubt = metric.shown(pair[0]), metric.shown_difference(pair[1])
        value, u = words.with_uncertainty(best, doubt, metric.digits)
    check = checks.get(metric.name)
    return looks.NumberLine(
        label=label,
        unit=metric.unit,
        value=value,
        u=u,
        limit=looks.span(check["limits"][0], check["limits"][1], 3) if check else "",
        kind="",
        doubt="" if pair is not None else withheld.get(metric.name, ""),
    )


def check_line(check: Mapping[str, Any]) -> dict[str, str]:
    """Return one criterion with what was found."""
    found, (low, high) = check["value"], check["limits"]
    metric = metrics.by_name(metrics.PULSE)[check["name"]]
    return {
        "name": metric.label,
        "value": words.number(found["value"], metric.digits) if found else "",
        "limits": looks.span(low, high, 3),
        "sentence": check["sentence"],
        "source": check["source"],
        "kind": _kind(check),
    }


def _kind(check: Mapping[str, Any]) -> looks.Kind:
    if check["value"] is None:
        return "void"
    if not check["ok"]:
        return "act"
    return "watch" if check["near"] else "ok"
