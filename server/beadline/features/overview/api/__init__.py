"""Beds and their cycles, for programs."""

from beadline.features.overview.api.reading import router

__all__ = ["router"]
