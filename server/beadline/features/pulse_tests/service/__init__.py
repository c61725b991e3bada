"""Read, judge and record pulse tests."""

from beadline.features.pulse_tests.service import standard
from beadline.features.pulse_tests.service.again import computed_anew, replace
from beadline.features.pulse_tests.service.analysing import analyse, facts_of, read_again, standard_of
from beadline.features.pulse_tests.service.keeping import (
    drawn_up,
    earlier,
    get,
    log,
    newest_of_column,
    of_packing,
    record,
    void,
)

__all__ = [
    "analyse",
    "computed_anew",
    "drawn_up",
    "earlier",
    "facts_of",
    "get",
    "log",
    "newest_of_column",
    "of_packing",
    "read_again",
    "record",
    "replace",
    "standard",
    "standard_of",
    "void",
]
