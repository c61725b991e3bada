"""The audit of dependencies fails where a vulnerability is known, and says so where it could not be made."""

from __future__ import annotations

import json
import subprocess
import sys
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType

import pytest

from beadline.kit import places

SCRIPT = places.folder("web").parent / ".ci" / "audit.py"
HARMLESS = {"name": "heron", "version": "1.0", "vulns": []}
HARMFUL = {"name": "stork", "version": "2.1", "vulns": [{"id": "CVE-2031-1", "fix_versions": ["2.2"]}]}
SKIPPED = {"name": "ibis", "skip_reason": "not found"}


@pytest.fixture
def audit() -> ModuleType:
    spec = spec_from_file_location("audit", SCRIPT)
    assert spec is not None and spec.loader is not None
    made = module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


def said(*dependencies: object) -> str:
    """An answer as `pip-audit -f json` writes it."""
    return json.dumps({"dependencies": dependencies, "fixes": []})


def test_a_vulnerability_fails_the_audit_and_is_named(audit: ModuleType):
    harmful, lines = audit.judged(said(HARMLESS, HARMFUL, SKIPPED))
    assert harmful == 1
    assert lines == ["stork 2.1: CVE-2031-1", "2 of 3 dependencies audited, 1 with vulnerabilities"]


def test_none_passes(audit: ModuleType):
    assert audit.judged(said(HARMLESS)) == (0, ["1 of 1 dependencies audited, 0 with vulnerabilities"])


@pytest.mark.parametrize("answer", ["", "<html>", said(), said(SKIPPED)])
def test_what_was_not_audited_is_said(audit: ModuleType, answer: str):
    harmful, (line,) = audit.judged(answer, "some trace\nthe name could not be resolved\n")
    assert harmful == 0
    assert line.startswith("NOT AUDITED: ")
    assert answer.startswith("{") or "could not be resolved" in line


def test_the_script_exits_as_it_judged(tmp_path: Path):
    """With a made-up `pip-audit` beside a python of its own."""
    (tmp_path / "python").symlink_to(sys.executable)
    tool = tmp_path / "pip-audit"
    tool.write_text(f"#!/bin/sh\ncat <<'END'\n{said(HARMFUL)}\nEND\nexit 1\n")
    tool.chmod(0o755)
    code = f"import sys; sys.executable = {str(tmp_path / 'python')!r}; import runpy; " + (
        f"runpy.run_path({str(SCRIPT)!r}, run_name='__main__')"
    )
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert ended.returncode == 1
    assert "stork 2.1: CVE-2031-1" in ended.stdout
