"""Who uses the site in a test: people with browsers, and programs with credentials."""

from __future__ import annotations

import base64
import re
from datetime import UTC, datetime

from fastapi.testclient import TestClient
from httpx import Response
from sqlalchemy.orm import Session

from beadline.features.accounts import service as accounts
from beadline.features.accounts.schemas import ROLES
from beadline.kit import clock
from beadline.store.tables import User

PASSWORD = "a heron stands in the reeds"
HIRED = datetime(2025, 1, 2, 8, tzinfo=UTC)


def add_people(session: Session) -> dict[str, User]:
    """Make an account for each role; it is named after the role."""
    return {role: add_person(session, role, role=role) for role in ROLES}


def add_person(session: Session, name: str, *, role: str) -> User:
    """Make an account whose password is `PASSWORD`."""
    return accounts.make_user(
        session, name=name, full_name=name.capitalize(), role=role, password=PASSWORD, by=None, at=HIRED
    )


def basic(name: str, password: str = PASSWORD) -> dict[str, str]:
    """Headers of a program that sends name and password."""
    return {"Authorization": "Basic " + base64.b64encode(f"{name}:{password}".encode()).decode()}


def bearer(token: str) -> dict[str, str]:
    """Headers of a program that sends a token."""
    return {"Authorization": f"Bearer {token}"}


class Visitor:
    """A browser without script: it sends forms with the token that the page gave it."""

    def __init__(self, client: TestClient) -> None:
        self.client = client

    def get(self, path: str) -> Response:
        """Ask for a page."""
        return self.client.get(path, follow_redirects=False)

    def post(
        self,
        path: str,
        form: dict[str, str],
        *,
        token_from: str = "/parts",
        file: tuple[str, bytes] | None = None,
    ) -> Response:
        """Send a form, with a file if one is given."""
        found = re.search(r'name="csrf_token" value="([^"]+)"', self.client.get(token_from).text)
        assert found, f"{token_from} gave no token"
        return self.client.post(
            path,
            data=form | {"csrf_token": found.group(1)},
            files={"file": file} if file else None,
            follow_redirects=False,
        )

    def page(self, path: str, status: int = 200) -> str:
        """Return the text of a page, or of the refusal that is expected."""
        answer = self.get(path)
        assert answer.status_code == status, answer.text[:2000]
        return answer.text

    def send(
        self, path: str, form: dict[str, str], status: int = 303, *, file: tuple[str, bytes] | None = None
    ) -> str:
        """Send a form; return the page that it leads to, or that of the refusal that is expected."""
        answer = self.post(path, form, file=file)
        assert answer.status_code == status, answer.text[:2000]
        return self.page(answer.headers["location"]) if status == 303 else answer.text


def token_of(session: Session, user: User, *, days: int = 30) -> str:
    """Make an API token for a person."""
    return accounts.make_api_token(session, user, name="skid", days=days, at=clock.now())
