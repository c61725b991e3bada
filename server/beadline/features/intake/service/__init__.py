"""Read, analyse, judge, alert: how a file becomes a logged run."""

from beadline.features.intake.service.analysis import analyse, analyse_again
from beadline.features.intake.service.baselines import baseline_note, present_note, versions
from beadline.features.intake.service.baselining import change_baseline, present_settings, would_change
from beadline.features.intake.service.logging import (
    count_run_again,
    exclude_run,
    judge_anew,
    log_run,
    record,
    void_run,
)
from beadline.features.intake.service.looking import look
from beadline.features.intake.service.preparing import ahead, prepare
from beadline.features.intake.service.typing_in import log_typed

__all__ = [
    "ahead",
    "analyse",
    "analyse_again",
    "baseline_note",
    "change_baseline",
    "count_run_again",
    "exclude_run",
    "judge_anew",
    "log_run",
    "log_typed",
    "look",
    "prepare",
    "present_note",
    "present_settings",
    "record",
    "versions",
    "void_run",
    "would_change",
]
