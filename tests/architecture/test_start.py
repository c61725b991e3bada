"""The server starts quickly because it leaves heavy libraries alone until somebody needs them."""

from __future__ import annotations

import subprocess
import sys

SLOW = (
    "scipy.signal",
    "scipy.stats",
    "scipy.io",
    "scipy.optimize",
    "scipy.interpolate",
    "scipy.special",
    "scipy.ndimage",
    "scipy.linalg",
    "pandas",
    "plotly",
    "openpyxl",
    "pint",
    "matplotlib",
    "IPython",
)


def test_no_heavy_library_is_imported_at_the_start():
    said = subprocess.run(
        [sys.executable, "-c", "import sys, beadline.app, beadline.cli.running; print(*sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "beadline.app" in said.stdout.split()
    assert not set(SLOW) & set(said.stdout.split())
