"""Assets under a hash of their content, kept for good; nothing inline runs but the import map."""

from __future__ import annotations

import hashlib
import json
import re

import pytest
from fastapi.testclient import TestClient

from beadline import app
from beadline.boundary import assets
from beadline.settings import Settings


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> TestClient:
    path = tmp_path_factory.mktemp("assets") / "beadline.db"
    return TestClient(app.build(Settings(database_url=f"sqlite:///{path}", allowed_hosts="testserver")))


def test_an_address_holds_the_hash_of_what_it_serves(client: TestClient) -> None:
    for name, address in assets.load().addresses.items():
        if name == assets.PLOTLY:
            continue
        answer = client.get(address)
        assert answer.status_code == 200
        assert hashlib.sha256(answer.content).hexdigest()[:12] in address
        assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"


def test_a_file_whose_content_changed_has_another_address(client: TestClient) -> None:
    assert client.get("/static/css/base.000000000000.css").status_code == 404


def test_compressed_and_plain_are_the_same(client: TestClient) -> None:
    address = assets.load().addresses["css/base.css"]
    zipped = client.get(address, headers={"Accept-Encoding": "gzip"})
    plain = client.get(address, headers={"Accept-Encoding": "identity"})
    assert zipped.headers["content-encoding"] == "gzip"
    assert "content-encoding" not in plain.headers
    assert zipped.content == plain.content


def test_the_import_map_names_every_script_of_ours_and_runs_by_its_nonce(client: TestClient) -> None:
    answer = client.get("/sign-in")
    policy = answer.headers["content-security-policy"]
    assert "unsafe" not in policy
    found = re.search(r'<script type="importmap" nonce="([^"]+)">(.+?)</script>', answer.text)
    assert found
    assert f"'nonce-{found.group(1)}'" in policy
    imports = json.loads(found.group(2))["imports"]
    scripts = {name for name in assets.load().addresses if name.startswith("js/") and name != assets.PLOTLY}
    assert imports == {f"beadline/{name[3:]}": assets.load().addresses[name] for name in scripts}


def test_two_pages_never_share_a_nonce(client: TestClient) -> None:
    nonces = {re.search(r'nonce="([^"]+)"', client.get("/sign-in").text).group(1) for _ in range(3)}  # type: ignore[union-attr]
    assert len(nonces) == 3


def test_the_plotting_library_still_looks_for_the_style_that_we_spare_it() -> None:
    """Should a new release look elsewhere, its inline style is refused and the browser tests say so."""
    assert re.fullmatch("[0-9a-f]{64}", assets.load().foreign_style_id)


def test_a_long_page_is_sent_compressed_to_who_can_read_it(client: TestClient) -> None:
    zipped = client.get("/sign-in", headers={"Accept-Encoding": "gzip"})
    plain = client.get("/sign-in", headers={"Accept-Encoding": "identity"})
    assert zipped.headers["content-encoding"] == "gzip"
    assert int(zipped.headers["content-length"]) < len(plain.content) / 2
    assert "content-encoding" not in plain.headers
    assert "Sign in" in zipped.text


def test_every_module_is_asked_for_at_once(client: TestClient) -> None:
    asked = re.findall(r'<link rel="modulepreload" href="([^"]+)"', client.get("/sign-in").text)
    assert set(asked) == set(assets.load().import_map["imports"].values())
