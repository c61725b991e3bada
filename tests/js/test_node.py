"""The unit tests of the pure scripts, run by node."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent


def test_the_scripts_pass_their_own_tests() -> None:
    node = shutil.which("node")
    if node is None:
        if "node" in os.environ.get("BEADLINE_TESTS_REQUIRE", ""):
            pytest.fail("node is not on PATH, and BEADLINE_TESTS_REQUIRE asks for it")
        pytest.skip("node is not on PATH")
    files = sorted(str(path) for path in HERE.glob("*.test.mjs"))
    assert files
    done = subprocess.run(
        [node, "--import", "./tests/js/resolve.mjs", "--test", *files],
        cwd=HERE.parent.parent,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]
