"""Analyse stored traces again: begin, analyse, keep, let the new results count, show."""

from beadline.features.recomputations.service.analysing import analyse
from beadline.features.recomputations.service.beginning import beds_of, begin, end_if_done, next_bed
from beadline.features.recomputations.service.keeping import keep
from beadline.features.recomputations.service.pulse_tests import analyse_pulse, pulse_tasks
from beadline.features.recomputations.service.showing import a_page, reports, shown, view
from beadline.features.recomputations.service.switching import switch
from beadline.features.recomputations.service.tasks import early_curves, left_to_do, tasks_of, with_references

__all__ = [
    "a_page",
    "analyse",
    "analyse_pulse",
    "beds_of",
    "begin",
    "early_curves",
    "end_if_done",
    "keep",
    "left_to_do",
    "next_bed",
    "pulse_tasks",
    "reports",
    "shown",
    "switch",
    "tasks_of",
    "view",
    "with_references",
]
