"""Watch beds: versions of the settings, readings, judgements and how each bed stands."""

from beadline.features.drift.service.curves import curve_of_cycle
from beadline.features.drift.service.experience import contribution, experience
from beadline.features.drift.service.judging import (
    foresee,
    judge,
    rehearse,
    replay,
    spoken,
)
from beadline.features.drift.service.limits import limits_by_procedure, limits_from_baseline, limits_of
from beadline.features.drift.service.readings import (
    reading_of,
    stored_reading,
)
from beadline.features.drift.service.standing import (
    KIND_OF_VERDICT,
    bands,
    baseline_cycles,
    condition_of,
    verdict_of,
)
from beadline.features.drift.service.versions import (
    add_version,
    baseline_of,
    content_sha256,
    signature,
)

__all__ = [
    "KIND_OF_VERDICT",
    "add_version",
    "bands",
    "baseline_cycles",
    "baseline_of",
    "condition_of",
    "content_sha256",
    "contribution",
    "curve_of_cycle",
    "experience",
    "foresee",
    "judge",
    "limits_by_procedure",
    "limits_from_baseline",
    "limits_of",
    "reading_of",
    "rehearse",
    "replay",
    "signature",
    "spoken",
    "stored_reading",
    "verdict_of",
]
