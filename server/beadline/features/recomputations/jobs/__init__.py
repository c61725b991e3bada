"""Recompute beds one after the other, their traces on as many workers as are given."""

from beadline.features.recomputations.jobs.beds import Means, rehearse, run
from beadline.features.recomputations.jobs.pool import Workers, local, on_scheduler

__all__ = ["Means", "Workers", "local", "on_scheduler", "rehearse", "run"]
