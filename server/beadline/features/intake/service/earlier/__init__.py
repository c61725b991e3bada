"""Results that were computed before this record began: sheets of values without traces."""

from beadline.features.intake.service.earlier.importing import HowToRead, import_earlier, look_at_earlier
from beadline.features.intake.service.earlier.report import STATUSES, Report, Weighed

__all__ = ["STATUSES", "HowToRead", "Report", "Weighed", "import_earlier", "look_at_earlier"]
