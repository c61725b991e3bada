"""Bytes in, arrays out: how a file that a skid wrote becomes a trace."""

from beadline.reading.checks import problems
from beadline.reading.conditions import Conditions, cycle_conditions
from beadline.reading.detection import DetectedStep
from beadline.reading.errors import UnreadableFile
from beadline.reading.leftovers import left_over
from beadline.reading.profile import ColumnPlan, Profile
from beadline.reading.reader import read
from beadline.reading.steps import (
    FoundTransition,
    MissingTransition,
    PlannedTransition,
    detect_steps,
    find_transitions,
    signal_of,
)
from beadline.reading.trace import Mark, Quantity, Role, Signal, Started, Trace

__all__ = [
    "ColumnPlan",
    "Conditions",
    "DetectedStep",
    "FoundTransition",
    "Mark",
    "MissingTransition",
    "PlannedTransition",
    "Profile",
    "Quantity",
    "Role",
    "Signal",
    "Started",
    "Trace",
    "UnreadableFile",
    "cycle_conditions",
    "detect_steps",
    "find_transitions",
    "left_over",
    "problems",
    "read",
    "signal_of",
]
