"""The guides for those who run the server: whole, true, and their links lead somewhere."""

from __future__ import annotations

import re

import pytest
from tests.sites import Site

from beadline.boundary import guides
from beadline.kit import places
from beadline.settings import PREFIX, Settings

HELP = places.folder("web") / "help"


def test_help_lists_every_guide_and_every_file(site: Site):
    page = site.visitor("viewer").get("/help").text
    written = [path.stem for path in HELP.glob("*.md")] + [path.name for path in (HELP / "files").iterdir()]
    assert set(re.findall(r'href="/help/(?:files/)?([\w.-]+)"', page)) == set(written)


@pytest.mark.parametrize("name", guides.ORDER)
def test_a_guide_is_a_page_whose_links_lead_somewhere(site: Site, name: str):
    viewer = site.visitor("viewer")
    answer = viewer.get(f"/help/{name}")
    assert answer.status_code == 200
    article = answer.text.split("<article", 1)[1].split("</article>")[0]
    assert "|--" not in article
    assert "```" not in article
    for address in re.findall(r'href="(/[^"#]*)', article):
        assert viewer.get(address).status_code == 200, address


def test_a_guide_that_is_not_there_is_refused(site: Site):
    viewer = site.visitor("viewer")
    for address in ("/help/nothing", "/help/files/nothing", "/help/files/..%2Frunning.md"):
        assert viewer.get(address).status_code == 404


def test_the_configuration_tells_every_setting_as_it_is_read(site: Site):
    page = site.visitor("viewer").get("/help/configuration").text
    for name, one in Settings.model_fields.items():
        row = next(part for part in page.split("<tr>") if f"<code>{PREFIX}{name.upper()}</code>" in part)
        assert one.description is not None
        assert one.description.split("`")[0] in row
    assert "<td>5 to 10080</td>" in page
    assert "<code>starttls</code>, <code>tls</code>, <code>none</code>" in page
