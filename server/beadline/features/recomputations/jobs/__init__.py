"""Recompute beds one after the other, their traces in as many processes as are given."""

from beadline.features.recomputations.jobs.beds import Means, rehearse, run
from beadline.features.recomputations.jobs.pool import local

__all__ = ["Means", "local", "rehearse", "run"]
