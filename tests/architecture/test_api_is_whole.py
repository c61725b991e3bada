"""Whatever a page changes, a program can change too."""

from __future__ import annotations

import re

from tests.architecture.routes import every_way

# What a page's form is sent to, and where programs send the same.
SAME = {
    "/alerts/{}": "/alerts/{}/acknowledge",
    "/library/notices": "/notice-routes",
    "/library/notices/{}": "/notice-routes/{}",
    "/library/notices/{}/switch": "/notice-routes/{}/switch",
    "/library/notices/{}/test": "/notice-routes/{}/test",
    "/library/reading-profiles/{}": "/reading-profiles/{}/next",
    "/library/step-plans": "/step-plans",
    "/library/{}": "/library/columns",
    "/log-a-run": "/runs",
    "/log-a-run/typed": "/typed-runs",
    "/log-a-run/earlier": "/earlier-results",
    "/log-a-run/earlier/look": "/earlier-results/look",
    "/packings/{}/{}": "/packings/{}/hold",
    "/pulse-tests": "/packings/{}/pulse-tests",
    "/campaign-reviews/checks": "/campaign-checks",
    "/records/reviews": "/record-reviews",
}
# What only a person at a browser does: it shows something while it is typed, or is about their own session.
OF_PEOPLE = (
    r"/sign-.*",
    r"/account/.*",
    r"/notices/\{\}/\{\}",  # the link in a message
    r".*/(look|try)",
)


def test_every_form_has_its_counterpart_for_programs():
    ways = {way.method + " " + re.sub(r"\{[^}]+\}", "{}", way.path) for way in every_way()}
    forms = [path for path in (way.removeprefix("POST ") for way in ways) if path.startswith("/")]
    pages = {path for path in forms if not path.startswith("/api/")}
    assert len(pages) > 30
    lacking = {
        path
        for path in pages
        if not any(re.fullmatch(pattern, path) for pattern in OF_PEOPLE)
        and f"POST /api/v1{SAME.get(path, path)}" not in ways
    }
    assert not lacking


def test_the_list_names_no_form_that_is_gone():
    paths = {re.sub(r"\{[^}]+\}", "{}", way.path) for way in every_way() if way.method == "POST"}
    assert set(SAME) <= paths
