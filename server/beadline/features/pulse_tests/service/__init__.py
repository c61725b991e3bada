"""Read, judge and record pulse tests."""

from beadline.features.pulse_tests.service import standard
from beadline.features.pulse_tests.service.analysing import analyse, read_again
from beadline.features.pulse_tests.service.keeping import (
    drawn_up,
    get,
    log,
    newest_of_column,
    of_packing,
    record,
    void,
)

__all__ = [
    "analyse",
    "drawn_up",
    "get",
    "log",
    "newest_of_column",
    "of_packing",
    "read_again",
    "record",
    "standard",
    "void",
]
