"""Who may import whom, and what an import may do."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import beadline
from beadline.kit import places

PACKAGE = Path(beadline.__file__).parent
CHECKOUT = places.folder("web").parent
FEATURES = PACKAGE / "features"
DOORS = ("service", "queries", "schemas")

# what Python itself reports of connecting, listening and writing files: the names of its audit events
WATCH = """
import importlib, pkgutil, sys
CONNECTS = {"sqlite3.connect", "socket.connect", "socket.bind", "socket.getaddrinfo", "subprocess.Popen"}
done = []
def seen(event, args):
    writes = event == "open" and isinstance(args[1], str) and set(args[1]) & set("wax+")
    if writes or event in CONNECTS:
        done.append((event, str(args)))
import beadline
names = [m.name for m in pkgutil.walk_packages(beadline.__path__, "beadline.")]
sys.addaudithook(seen)
for name in names:
    importlib.import_module(name)
print(len(names), done)
"""


def feature_files() -> list[Path]:
    return sorted(FEATURES.rglob("*.py"))


def test_the_import_contracts_hold():
    command = [Path(sys.executable).with_name("lint-imports"), "--config", "pyproject.toml", "--no-cache"]
    said = subprocess.run(command, cwd=CHECKOUT, capture_output=True, text=True)
    assert said.returncode == 0, said.stdout
    assert "0 broken" in said.stdout


@pytest.mark.parametrize("path", feature_files(), ids=lambda path: path.relative_to(FEATURES).as_posix())
def test_features_meet_only_through_service_queries_and_schemas(path: Path):
    """A module is imported as a whole; only a class may be taken out of it."""
    own = path.relative_to(FEATURES).parts[0]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.ImportFrom) or not (node.module or "").startswith("beadline.features."):
            continue
        feature, *inside = str(node.module).split(".")[2:]
        for name in (alias.name for alias in node.names):
            door, *within = [*inside, name]
            if feature != own:
                assert door in DOORS, f"{node.module}: {name}"
                assert not within or door == "schemas" or within[0][0].isupper(), f"{node.module}: {name}"


@pytest.mark.parametrize("path", feature_files(), ids=lambda path: path.relative_to(FEATURES).as_posix())
def test_no_feature_commits(path: Path):
    """One request is one transaction, committed at the edge."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    called = [node.func for node in ast.walk(tree) if isinstance(node, ast.Call)]
    assert "commit" not in [function.attr for function in called if isinstance(function, ast.Attribute)]


def test_nothing_connects_writes_or_reads_settings_at_import(tmp_path: Path):
    said = subprocess.run(
        [sys.executable, "-B", "-c", WATCH],
        cwd=tmp_path,
        env={
            "BEADLINE_NO_SUCH_SETTING": "1",
            "PYTHONPATH": str(PACKAGE.parent),
            "PATH": "",
            "HOME": str(tmp_path),
        },
        capture_output=True,
        text=True,
    )
    assert said.returncode == 0, said.stderr
    many, done = said.stdout.strip().split(" ", 1)
    assert int(many) > 100
    assert done == "[]"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("folder", ["utils", "helpers", "common", "misc"])
def test_no_module_is_a_drawer_for_everything(folder: str):
    assert not [path for path in PACKAGE.rglob("*.py") if path.stem == folder or path.parent.name == folder]
