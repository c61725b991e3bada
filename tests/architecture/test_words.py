"""What must be written down: what each public part does, and what each setting means."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import beadline
from beadline.kit import places
from beadline.settings import PREFIX, BadSettings, Settings, load

PACKAGE = Path(beadline.__file__).parent
FOLDERS = ("science", "reading", "kit", "features")
FILES = sorted(path for folder in FOLDERS for path in (PACKAGE / folder).rglob("*.py"))
DEVELOPERS = places.folder("web").parent / "DEVELOPERS.md"


def public(body: list[ast.stmt]) -> Iterator[ast.FunctionDef | ast.ClassDef]:
    """Functions and classes that others use; a protocol says what its methods are once, in its own words."""
    for node in body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield node
            if isinstance(node, ast.ClassDef) and "Protocol" not in [ast.unparse(b) for b in node.bases]:
                yield from public(node.body)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_every_public_part_says_what_it_does(path: Path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree), "the module itself"
    assert [node.name for node in public(tree.body) if not ast.get_docstring(node)] == []


@pytest.mark.parametrize("name", Settings.model_fields)
def test_every_setting_is_explained(name: str):
    row = next(line for line in DEVELOPERS.read_text().splitlines() if f"`{PREFIX}{name.upper()}`" in line)
    assert f"`{name}`: " in row
    assert Settings.model_fields[name].description


@pytest.mark.parametrize("name", Settings.model_fields)
def test_the_defaults_that_are_written_down_are_those_in_force(name: str):
    row = next(line for line in DEVELOPERS.read_text().splitlines() if f"`{PREFIX}{name.upper()}`" in line)
    default = Settings.model_fields[name].default
    assert f"| `{str(default).lower() if isinstance(default, bool) else default}` |" in row


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("BEADLINE_PROT", "8000"),
        ("BEADLINE_PORT", "eighty"),
        ("BEADLINE_PORT", "0"),
        ("BEADLINE_MAX_UPLOAD_MB", "0"),
        ("BEADLINE_SITE_TIMEZONE", "Mudflat/Heron"),
        ("BEADLINE_SESSION_MINUTES", "1"),
    ],
)
def test_a_setting_that_is_unknown_or_unsafe_stops_the_start(
    monkeypatch: pytest.MonkeyPatch, name: str, value: str
):
    monkeypatch.setenv(name, value)
    with pytest.raises(BadSettings, match=name):
        load()


def test_settings_come_from_the_environment_and_those_of_the_tests_are_let_be(
    monkeypatch: pytest.MonkeyPatch,
):
    monkeypatch.setenv("BEADLINE_PORT", "9000")
    monkeypatch.setenv("BEADLINE_TESTS_REQUIRE", "postgresql")
    monkeypatch.setenv("BEADLINE_TOKEN", "x")
    assert load().port == 9000
    assert load(port=9001).port == 9001
