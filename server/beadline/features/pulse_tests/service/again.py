"""Put another result in the place of a test's present one, which is kept beside it."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.pulse_tests.schemas import AnalysedTest
from beadline.features.pulse_tests.service.analysing import facts_of
from beadline.features.pulse_tests.service.keeping import drawn_up
from beadline.store.tables import EarlierPulseResult, Packing, PulseTest

RESULT = (
    "method",
    "method_version",
    "settings",
    "usable",
    "estimates",
    "corrected",
    "withheld",
    "doubts",
    "working",
    "verdict",
    "checks",
)


def computed_anew(packing: Packing, test: PulseTest, analysed: AnalysedTest) -> PulseTest:
    """Return a test as it would be recorded with another result; nothing is changed."""
    return drawn_up(packing, analysed, facts_of(test))


def replace(
    session: Session, test: PulseTest, new: PulseTest, *, recomputation_id: int, at: datetime
) -> None:
    """Let another result count; what counted is kept as it was."""
    earlier = {name: getattr(test, name) for name in RESULT}
    session.add(
        EarlierPulseResult(
            pulse_test_id=test.id, recomputation_id=recomputation_id, replaced_at=at, **earlier
        )
    )
    for name in RESULT:
        setattr(test, name, getattr(new, name))
    session.flush()  # the bed is judged with it
