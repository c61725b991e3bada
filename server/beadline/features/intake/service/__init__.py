"""Read, analyse, judge, alert: how a file becomes a logged run."""

from beadline.features.intake.service.analysis import analyse
from beadline.features.intake.service.logging import (
    count_run_again,
    exclude_run,
    judge_anew,
    log_run,
    prepare,
    record,
    void_run,
)
from beadline.features.intake.service.looking import look

__all__ = [
    "analyse",
    "count_run_again",
    "exclude_run",
    "judge_anew",
    "log_run",
    "look",
    "prepare",
    "record",
    "void_run",
]
