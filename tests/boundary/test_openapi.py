"""What the interface for programs promises in its description, tried with what nobody would send."""

from __future__ import annotations

from collections.abc import Callable

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import checks
from tests import sites
from tests.sites import Site
from tests.visitors import bearer

from beadline.features.accounts.schemas import ROLES

ADDRESS = "/api/v1/openapi.json"
CHECKS = [
    checks.not_a_server_error,
    checks.status_code_conformance,
    checks.content_type_conformance,
    checks.response_headers_conformance,
    checks.response_schema_conformance,
    checks.negative_data_rejection,
]
tried = settings(
    max_examples=3,
    derandomize=True,
    deadline=None,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)


@pytest.fixture
def site(open_site: Callable[..., Site]) -> Site:
    """A site on which every kind of thing exists."""
    return open_site(sites.fill_cracked_life)


@pytest.mark.parametrize("role", [*ROLES, "nobody"])
def test_whatever_is_sent_is_answered_as_described(site: Site, role: str):
    """No mistake of ours, and no status, type or shape of an answer that the description does not name."""
    headers = {} if role == "nobody" else bearer(site.token(role))
    described = schemathesis.openapi.from_asgi(ADDRESS, site.app)
    operations = [found.ok() for found in described.get_all_operations()]
    assert len(operations) > 8
    for operation in operations:

        @tried
        @given(case=operation.as_strategy())
        def answered(case: schemathesis.Case) -> None:
            answer = case.call(headers=headers)
            case.validate_response(answer, checks=CHECKS)
            assert role != "nobody" or answer.status_code in (401, 422)

        answered()


def test_the_description_is_read_without_signing_in_and_names_the_credentials(site: Site):
    described = site.client.get(ADDRESS).json()
    ways = described["components"]["securitySchemes"].values()
    assert {one["scheme"] for one in ways} == {"bearer", "basic"}
    problem = site.client.get("/api/v1/alerts").json()
    assert set(problem) == set(described["components"]["schemas"]["Problem"]["required"])


def test_every_shape_is_described_once_under_a_name_of_its_own(site: Site):
    """Two of one name would be told apart by where they stand in our code, which is nobody's business."""
    names = site.client.get(ADDRESS).json()["components"]["schemas"]
    made_by_us = [name for name in names if not name.startswith("Body_")]
    assert {"Why", "Quantity", "DoubtLine"} <= set(made_by_us)
    assert [name for name in made_by_us if "__" in name] == []
