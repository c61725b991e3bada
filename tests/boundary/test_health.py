"""Whether the server lives and is ready, and what it measured (Prometheus text exposition format)."""

from __future__ import annotations

from pathlib import Path

from fastapi.testclient import TestClient
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy import text
from tests.sites import Site
from tests.visitors import bearer

from beadline import app
from beadline.settings import Settings


def test_a_server_without_a_database_lives_and_is_not_ready(tmp_path: Path):
    url = f"sqlite:///{tmp_path / 'folder.db'}"
    (tmp_path / "folder.db").mkdir()
    client = TestClient(app.build(Settings(database_url=url, allowed_hosts="testserver")))
    assert client.get("/health").status_code == 200
    answer = client.get("/ready")
    assert (answer.status_code, answer.json()["faults"]) == (503, ["the database does not answer"])


def test_a_server_whose_tables_are_older_is_not_ready(site: Site):
    assert site.client.get("/ready").json() == {"ready": True, "faults": []}
    with site.engine.begin() as connection:
        connection.execute(text("update alembic_version set version_num = 'first_tables'"))
    answer = site.client.get("/ready")
    assert (answer.status_code, answer.json()["faults"]) == (
        503,
        ["the tables are not those of this version"],
    )


def test_requests_are_counted_by_route_and_never_by_address(site: Site):
    credentials = bearer(site.token("viewer"))
    for number in (1, 2, 3):
        site.client.get(f"/api/v1/alerts/{number}", headers=credentials)
    answer = site.client.get("/api/v1/metrics", headers=credentials)
    families = {family.name: family for family in text_string_to_metric_families(answer.text)}
    counted = {
        (sample.labels["route"], sample.labels["status"]): sample.value
        for sample in families["beadline_requests"].samples
        if sample.name.endswith("_total")
    }
    assert counted[("/api/v1/alerts/{alert_id}", "404")] == 3
    assert "process_resident_memory_bytes" in families
    assert site.client.get("/api/v1/metrics").status_code == 401
