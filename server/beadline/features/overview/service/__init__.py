"""Put together what the pages Columns and Column show."""

from beadline.features.overview.service.bed import bed_view
from beadline.features.overview.service.beside import compared_story
from beadline.features.overview.service.cycle import cycle_view
from beadline.features.overview.service.lines import bed_lines, choices, chosen, lede
from beadline.features.overview.service.reports import (
    BedReport,
    CycleReport,
    bed_page,
    bed_report,
    cycle_page,
    cycle_report,
    stored_unit,
)
from beadline.features.overview.service.results import curves_csv, results_csv
from beadline.features.overview.service.story import Story, of_bed, of_cycles
from beadline.features.overview.service.timeline import done_to
from beadline.features.overview.service.trends import trend, trends
from beadline.features.overview.service.working import working_view

__all__ = [
    "BedReport",
    "CycleReport",
    "Story",
    "bed_lines",
    "bed_page",
    "bed_report",
    "bed_view",
    "choices",
    "chosen",
    "compared_story",
    "curves_csv",
    "cycle_page",
    "cycle_report",
    "cycle_view",
    "done_to",
    "lede",
    "of_bed",
    "of_cycles",
    "results_csv",
    "stored_unit",
    "trend",
    "trends",
    "working_view",
]
