"""The whole application over HTTP, on a migrated SQLite database of its own."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy.orm import Session

from beadline import app
from beadline.features.accounts import service as accounts
from beadline.kit import clock
from beadline.settings import Settings
from beadline.store import migrate
from beadline.store.engine import make_engine, writing_sessions

PASSWORD = "a heron stands in the reeds"


class Visitor:
    """A browser without script: it signs in and sends forms with their token."""

    def __init__(self, client: TestClient, name: str) -> None:
        self.client = client
        token = self._token("/sign-in")
        form = {"name": name, "password": PASSWORD, "csrf_token": token}
        assert client.post("/sign-in", data=form, follow_redirects=False).status_code == 303

    def _token(self, path: str) -> str:
        found = re.search(r'name="csrf_token" value="([^"]+)"', self.client.get(path).text)
        assert found
        return found.group(1)

    def get(self, path: str, status: int = 200) -> str:
        answer = self.client.get(path)
        assert answer.status_code == status, answer.text[:2000]
        return answer.text

    def post(
        self,
        path: str,
        form: dict[str, str],
        status: int = 200,
        files: dict[str, tuple[str, bytes]] | None = None,
    ) -> str:
        token = self._token("/parts")
        answer = self.client.post(path, data=form | {"csrf_token": token}, files=files)
        assert answer.status_code == status, answer.text[:2000]
        return answer.text


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    settings = Settings(
        database_url=f"sqlite:///{tmp_path / 'beadline.db'}", allowed_hosts="testserver,localhost"
    )
    engine = make_engine(settings.database_url)
    migrate.upgrade(engine)
    with writing_sessions(engine).begin() as session:
        for role in ("viewer", "operator", "engineer"):
            accounts.make_user(
                session,
                name=role,
                full_name=role.capitalize(),
                role=role,
                password=PASSWORD,
                by=None,
                at=clock.now() - timedelta(days=1),
            )
    engine.dispose()
    with TestClient(app.build(settings)) as opened:
        yield opened


@pytest.fixture
def engineer(client: TestClient) -> Visitor:
    return Visitor(client, "engineer")


@pytest.fixture
def store(client: TestClient) -> Iterator[Session]:
    """A session beside the application, to prepare what no form makes."""
    with client.app.state.new_session.begin() as session:  # type: ignore[attr-defined]
        yield session
