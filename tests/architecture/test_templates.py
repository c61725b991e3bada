"""What every page, style sheet and script of ours must keep to."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from beadline.boundary import assets, templates
from beadline.kit import places

WEB = places.folder("web")
TEMPLATES = sorted((WEB / "templates").rglob("*.html"))
SCRIPTS = sorted((WEB / "static" / "js").rglob("*.js"))
STYLES = sorted((WEB / "static" / "css").rglob("*.css"))


def each(paths: list[Path]) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("path", paths, ids=lambda path: path.relative_to(WEB).as_posix())


def test_there_is_something_to_check() -> None:
    assert len(TEMPLATES) > 5
    assert len(SCRIPTS) > 5
    assert len(STYLES) > 5


@each(TEMPLATES)
def test_a_template_compiles(path: Path) -> None:
    templates.environment().get_template(path.relative_to(WEB / "templates").as_posix())


@each(TEMPLATES)
def test_a_page_has_a_title(path: Path) -> None:
    text = path.read_text()
    if '{% extends "base.html" %}' in text:
        title = re.search(r"{% block title %}(.+?){% endblock %}", text)
        assert title, "no title block"
        assert title.group(1).strip()


@each(TEMPLATES)
def test_a_form_that_changes_something_carries_a_token(path: Path) -> None:
    for form in re.findall(r"<form\b.*?</form>", path.read_text(), flags=re.DOTALL):
        if re.search(r'method="post"', form):
            assert "forms.token(csrf_token)" in form or 'name="csrf_token"' in form, form[:120]
        else:
            assert re.search(r'method="get"', form), f"a form must say its method: {form[:120]}"


@each(TEMPLATES)
def test_a_hand_written_field_has_a_label(path: Path) -> None:
    text = path.read_text()
    without_wrapped = re.sub(r"<label>.*?</label>", "", text, flags=re.DOTALL)
    for tag in re.findall(r"<(?:input|select|textarea)\b[^>]*>", without_wrapped):
        if 'type="hidden"' in tag:
            continue
        name = re.search(r'\bid="([^"]+)"', tag)
        assert name, f"a field without id can't have a label: {tag}"
        if re.search(r'\baria-label="[^"]+"', tag):
            continue
        assert re.search(rf'<label\b[^>]*\bfor="{re.escape(name.group(1))}"', text), tag


@each(TEMPLATES)
def test_no_style_or_handler_is_inline(path: Path) -> None:
    text = path.read_text()
    assert not re.search(r"<style\b|\sstyle=|\son[a-z]+=\"", text)
    for script in re.findall(r"<script\b[^>]*>", text):
        assert 'type="application/json"' in script or "nonce=" in script or "src=" in script, script


@each(STYLES)
def test_only_the_tokens_name_colours(path: Path) -> None:
    if path.name == "tokens.css":
        return
    text = re.sub(r"/\*.*?\*/", "", path.read_text(), flags=re.DOTALL)
    assert not re.search(r"#[0-9a-fA-F]{3,8}\b(?![^{]*\{)|\brgba?\(|\bhsla?\(", text)


@each(STYLES)
def test_every_meaning_that_is_used_is_defined(path: Path) -> None:
    everywhere = "\n".join(each_path.read_text() for each_path in STYLES)
    defined = set(re.findall(r"(--[a-z0-9-]+)\s*:", everywhere))
    assert set(re.findall(r"var\((--[a-z0-9-]+)", path.read_text())) <= defined


@each(SCRIPTS)
def test_a_script_stays_small_and_exports_by_name(path: Path) -> None:
    text = path.read_text()
    assert len(text.splitlines()) <= 150
    assert "export default" not in text


@each(SCRIPTS)
def test_no_script_glues_html_or_evaluates_text(path: Path) -> None:
    assert not re.search(
        r"\binnerHTML\b|\bouterHTML\b|insertAdjacentHTML|document\.write\b|\beval\(|new Function",
        path.read_text(),
    )


@each(SCRIPTS)
def test_only_one_script_names_the_plotting_library(path: Path) -> None:
    if path.name != "library.js":
        assert "plotly" not in path.read_text().lower()


@each(SCRIPTS)
def test_every_import_is_in_the_import_map(path: Path) -> None:
    known = assets.load().import_map["imports"]
    for name in re.findall(r'from "([^"]+)"|import "([^"]+)"', path.read_text()):
        assert "".join(name) in known


def test_every_module_named_in_a_page_exists() -> None:
    registered = re.search(
        r"export const modules = \{(.+?)\}", (WEB / "static/js/modules.js").read_text(), re.DOTALL
    )
    assert registered
    names = set(re.findall(r"\w+", registered.group(1)))
    used = {name for path in TEMPLATES for name in re.findall(r'data-module="(\w+)"', path.read_text())}
    assert used <= names
    assert names <= used


def test_every_colour_that_charts_ask_for_is_a_token() -> None:
    tokens = (WEB / "static/css/tokens.css").read_text()
    asked = re.findall(r'"(--[a-z-]+)"', (WEB / "static/js/theme.js").read_text())
    assert len(asked) > 10
    for token in asked:
        assert f"  {token}:" in tokens
