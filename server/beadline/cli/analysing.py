"""Analyse a file without any database."""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from beadline import reading
from beadline.features.packings.schemas import Bed
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.pulse_tests.schemas import TestFacts
from beadline.features.transitions import service as transitions
from beadline.features.transitions.schemas import Analysed
from beadline.kit.errors import Invalid
from beadline.science.estimates import Estimate

NEAR_CV = 2.5  # a step follows the switch that made it within so many column volumes


def analyse(parsed: argparse.Namespace) -> int:
    """Print the results of a trace as JSON."""
    bed = _bed(parsed)
    content = parsed.file.read_bytes()
    results = _pulse(parsed, content, bed) if parsed.pulse else _transitions(parsed, content, bed)
    print(json.dumps(results, indent=2, ensure_ascii=False, allow_nan=False))
    return 0


def _bed(parsed: argparse.Namespace) -> Bed:
    for name in ("diameter_cm", "height_cm"):
        if not getattr(parsed, name) > 0:
            option = "--" + name.replace("_", "-")
            raise Invalid(f"{option} must be above 0.", where=option, mend="Give it in cm.")
    area_m2 = math.pi * (parsed.diameter_cm * 1e-2) ** 2 / 4
    height_m = parsed.height_cm * 1e-2
    return Bed(
        bed_volume_m3=area_m2 * height_m,
        bed_height_m=height_m,
        cross_section_m2=area_m2,
        bead_diameter_m=(parsed.bead_um or 0.0) * 1e-6,
        hold_up_m3=parsed.hold_up_ml * 1e-6,
        reference_flow_m3_s=None,
    )


def _pulse(parsed: argparse.Namespace, content: bytes, bed: Bed) -> dict[str, Any]:
    if parsed.injection_ml is None or not parsed.bead_um:
        raise Invalid("A pulse test needs --injection-ml and --bead-um.", mend="Give both.")
    facts = TestFacts(performed_at=datetime.now(UTC), injection_ml=parsed.injection_ml)
    test = pulse_tests.analyse(content, filename=parsed.file.name, bed=bed, facts=facts)
    result, verdict = test.result, test.verdict
    return {
        "file": parsed.file.name,
        "recognised": list(test.notes),
        "method": f"{result.method} {result.version}",
        "verdict": verdict.verdict,
        "reasons": list(verdict.sentences),
        "usable": result.usable,
        "estimates": _plain(result.estimates),
        "corrected": _plain(result.corrected),
        "withheld": dict(result.withheld),
        "doubts": [doubt.sentence for doubt in result.doubts],
    }


def _transitions(parsed: argparse.Namespace, content: bytes, bed: Bed) -> dict[str, Any]:
    try:
        trace = reading.read(
            content,
            filename=parsed.file.name,
            bed_volume_m3=bed.bed_volume_m3,
            column_area_m2=bed.cross_section_m2,
        )
    except reading.UnreadableFile as error:
        raise Invalid(error.what, where=error.where, mend=error.mend, code=error.code) from error
    plan = _by_marks(parsed) or _by_steps(trace, parsed.signal, bed)
    found = transitions.analyse(trace, plan, bed) if plan else ()
    return {
        "file": parsed.file.name,
        "recognised": list(trace.notes),
        "units": "SI; names that end in _cv are in column volumes",
        "transitions": [_one(one) for one in found],
    }


def _by_marks(parsed: argparse.Namespace) -> list[reading.PlannedTransition]:
    return [reading.PlannedTransition(f"into {mark}", parsed.signal, mark=mark) for mark in parsed.mark]


def _by_steps(
    trace: reading.Trace, quantity: reading.Quantity, bed: Bed
) -> Sequence[reading.PlannedTransition]:
    """Plan every step of a signal, from the mark before it if the trace has marks."""
    steps = reading.detect_steps(trace, quantity=quantity, width_m3=0.25 * bed.bed_volume_m3)
    planned = []
    seen: dict[str, int] = {}
    for place, step in enumerate(steps, start=1):
        before = [
            mark for mark in trace.marks if 0 <= step.volume_m3 - mark.volume_m3 < NEAR_CV * bed.bed_volume_m3
        ]
        if before:
            mark = before[-1]
            same = [other for other in trace.marks if other.name == mark.name]
            name, occurrence = f"into {mark.name}", same.index(mark) + 1
            seen[name] = seen.get(name, 0) + 1
            shown = name if seen[name] == 1 else f"{name}, {seen[name]}"
            planned.append(
                reading.PlannedTransition(
                    shown, quantity, mark=mark.name, occurrence=occurrence, direction=step.direction
                )
            )
        else:
            ups = [one for one in steps[:place] if one.direction == step.direction]
            planned.append(
                reading.PlannedTransition(
                    f"step {place}", quantity, occurrence=len(ups), direction=step.direction
                )
            )
    return planned


def _one(one: Analysed) -> dict[str, Any]:
    found: dict[str, Any] = {"name": one.plan.name, "how_found": one.how_found, "usable": one.usable}
    if one.result is None:
        return found | {"mend": one.mend}
    result = one.result
    return found | {
        "method": f"{result.method} {result.version}",
        "direction": result.direction,
        "switch_volume_m3": one.switch_volume_m3,
        "window_cv": list(result.window_cv),
        "estimates": _plain(result.estimates),
        "withheld": dict(result.withheld),
        "doubts": [doubt.sentence for doubt in result.doubts],
    }


def _plain(estimates: Mapping[str, Estimate]) -> dict[str, dict[str, float]]:
    return {name: {"value": float(e.value), "u": float(e.u)} for name, e in estimates.items()}
