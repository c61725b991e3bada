"""Alerts, for programs."""

from beadline.features.alerts.api.handling import router

__all__ = ["router"]
