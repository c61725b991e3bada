"""Keep how files are read, change it, and try a change on a file before it is saved."""

from beadline.features.reading_profiles.service.editing import change, edited
from beadline.features.reading_profiles.service.keeping import (
    every,
    for_layout,
    get,
    in_short,
    keep,
    newest_version,
    runs,
    taken,
    versions,
)
from beadline.features.reading_profiles.service.trying import tried, tried_on_newest

__all__ = [
    "change",
    "edited",
    "every",
    "for_layout",
    "get",
    "in_short",
    "keep",
    "newest_version",
    "runs",
    "taken",
    "tried",
    "tried_on_newest",
    "versions",
]
