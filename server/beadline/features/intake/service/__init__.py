"""Read, analyse, judge, alert: how a file becomes a logged run."""

from beadline.features.intake.service.analysis import analyse
from beadline.features.intake.service.logging import judge_anew, log_run, prepare, record, void_run
from beadline.features.intake.service.looking import look

__all__ = ["analyse", "judge_anew", "log_run", "look", "prepare", "record", "void_run"]
