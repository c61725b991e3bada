"""Make documents on paper from what is stored; nothing is computed anew but pictures."""

from beadline.features.reports.service.alert import alert_report
from beadline.features.reports.service.certificate import certificate
from beadline.features.reports.service.life import life_report
from beadline.features.reports.service.setting import Sheet

__all__ = ["Sheet", "alert_report", "certificate", "life_report"]
