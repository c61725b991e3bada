"""What the developers' page promises is shown by tests that are there."""

from __future__ import annotations

import ast
import re
from pathlib import Path

from beadline.kit import places

ROOT = places.folder("web").parent
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PROMISES = TEXT.split("## What is promised, and what is not")[1].split("\n## ")[0]
ROWS = [line for line in PROMISES.splitlines() if line.startswith("| ") and not line.startswith("| promise ")]


def names_in(path: Path) -> set[str]:
    return {node.name for node in ast.parse(path.read_text()).body if isinstance(node, ast.FunctionDef)}


def test_every_promise_names_a_test_that_exists():
    assert len(ROWS) > 15
    for row in ROWS:
        named = re.findall(r"`(tests/[\w/]+\.py)::(test_\w+)`", row)
        assert named, row
        for path, name in named:
            assert name in names_in(ROOT / path), f"{path}::{name}"


def test_it_says_that_validation_remains_the_sites():
    assert "Validation for intended use remains the site's" in PROMISES
