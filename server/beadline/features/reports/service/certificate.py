"""A pulse test on paper: the certificate that a bed is qualified, or the report that it is not."""

from __future__ import annotations

from typing import Any

from sqlalchemy.orm import Session

from beadline.features.packings import service as packings
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.pulse_tests.schemas import numbers, peak
from beadline.features.reports.service import pictures, setting
from beadline.features.reports.service.setting import Sheet
from beadline.kit import looks, words
from beadline.store.tables import PulseTest

MET = {"ok": "met", "watch": "met, in doubt", "act": "not met", "void": "not judged"}


def certificate(session: Session, test_id: int, sheet: Sheet) -> bytes:
    """Return a pulse test as PDF.

    Raises
    ------
    NotFound
        If there is no such test.
    """
    test = pulse_tests.get(session, test_id)
    packing = packings.get(session, test.packing_id)
    analysed = pulse_tests.read_again(session, test, packing)
    chart = peak.chart(analysed.result, analysed.unit)
    said = {
        "id": test.id,
        "title": _title(test),
        "bed": setting.bed_name(packing),
        "facts": [*setting.bed_facts(packing, sheet), *_facts(test, sheet)],
        "trail": setting.trail(session, [("pulse test", test.id)], sheet),
        "notes": list(analysed.notes),
    }
    return sheet.printed(
        "reports/certificate.typ", said | _judged(test), {"peak": pictures.peak(chart) if chart else []}
    )


def _title(test: PulseTest) -> str:
    counts = test.verdict == "pass" and test.voided_at is None
    return "Qualification certificate" if counts else "Report of a pulse test"


def _facts(test: PulseTest, sheet: Sheet) -> list[list[str]]:
    return [
        ["Performed", sheet.moment(test.performed_at)],
        ["Logged", f"{sheet.moment(test.logged_at)} by {test.logged_by.full_name}"],
        ["Tracer", test.tracer or "not named"],
        ["Injected", f"{words.number(test.injection_ml)} mL"],
    ]


def _judged(test: PulseTest) -> dict[str, Any]:
    lede = numbers.lede(test)
    if test.voided_at is not None:
        because = f"On {test.voided_at:%-d %b %Y}: {test.void_reason} It had been judged “{test.verdict}”."
        lede = looks.Lede("Voided; this test counts for nothing.", because, "void")
    return {
        "verdict": "voided" if test.voided_at else test.verdict,
        "lead": lede.lead,
        "rest": lede.rest,
        "checks": [_check(numbers.check_line(check)) for check in test.checks],
        "numbers": [
            {"title": title, "lines": [_line(line) for line in lines if line.value or line.doubt]}
            for title, lines in numbers.groups(test, test.criteria)
        ],
        "doubts": [doubt["sentence"] for doubt in test.doubts],
        "method": f"{test.method} {test.method_version}",
        "filename": test.trace.filename,
        "trace_sha256": test.trace.sha256,
    }


def _check(line: dict[str, str]) -> dict[str, str]:
    return {name: line[name] for name in ("name", "value", "limits", "sentence", "source")} | {
        "met": MET[line["kind"]]
    }


def _line(line: looks.NumberLine) -> dict[str, str]:
    unit = line.unit if line.unit not in ("", "1") else ""
    return {"label": line.label, "unit": unit, "value": line.value, "u": line.u, "doubt": line.doubt}
