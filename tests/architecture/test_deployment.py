"""The files to start from: what they say fits the server, README and each other."""

from __future__ import annotations

import configparser
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from tests.sites import Site
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

from beadline.boundary.guard import Guard
from beadline.cli import serving
from beadline.kit import places
from beadline.settings import Settings, load

FILES = places.folder("web") / "help" / "files"
README = (places.folder("web").parent / "README.md").read_text("utf-8")
UNITS = [*sorted(path.name for path in FILES.glob("*.service")), "beadline-backup.timer"]
VARIABLE = re.compile(r"\b(BEADLINE_[A-Z_]+)=(\S+)")


def unit(name: str) -> configparser.ConfigParser:
    parsed = configparser.ConfigParser(interpolation=None, strict=False)
    parsed.optionxform = str  # type: ignore[assignment,method-assign]
    parsed.read(FILES / name)
    return parsed


@pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="needs systemd")
@pytest.mark.parametrize("name", UNITS)
def test_systemd_takes_the_units(name: str, tmp_path: Path):
    for other in UNITS:
        text = (FILES / other).read_text().replace("/opt/beadline/.venv/bin/beadline", sys.executable)
        (tmp_path / other).write_text(text)
    said = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", tmp_path / name], capture_output=True, text=True
    )
    found = [line for line in said.stderr.splitlines() if "beadline" in line]
    assert (said.returncode, found) == (0, [])


def test_the_service_gives_the_server_the_time_that_it_takes_to_stop():
    service = unit("beadline.service")["Service"]
    assert int(service["TimeoutStopSec"]) > serving.STOP_WITHIN_S
    assert service["ExecStart"].endswith("/beadline serve")
    assert unit("beadline-backup.service")["Service"]["ExecStart"].split()[1:] == [
        "backup",
        "/var/backups/beadline",
    ]


def test_the_settings_to_start_from_are_taken(monkeypatch: pytest.MonkeyPatch):
    for name, value in VARIABLE.findall((FILES / "beadline.env").read_text()):
        monkeypatch.setenv(name, value)
    assert load().secure_cookies


def test_the_container_is_made_as_the_readme_says(monkeypatch: pytest.MonkeyPatch):
    container = (FILES / "Containerfile").read_text()
    command = re.search(r"# install and run the demo\n(.*)", README)
    assert command is not None
    install = command[1].rsplit(" && ", 1)[0]
    assert f"RUN {install}\n" in container
    for name, value in VARIABLE.findall(container):
        monkeypatch.setenv(name, value)
    assert load().host == "0.0.0.0"


def proxied() -> dict[str, str]:
    """The headers that the proxy sets, for a request over TLS from 203.0.113.7 (RFC 5737)."""
    found = re.findall(r"proxy_set_header ([\w-]+) (\S+);", (FILES / "nginx.conf").read_text())
    values = {"$host": "beds.example.org", "$scheme": "https", "$remote_addr": "203.0.113.7", '""': ""}
    return {name: values[value] for name, value in found if values[value]}


def test_behind_the_proxy_addresses_are_those_that_people_type(site: Site):
    behind = Site(
        site.settings.database_url,
        allowed_hosts="beds.example.org",
        secure_cookies=True,
        changes_per_minute_of_address=2,
    )
    asked = ProxyHeadersMiddleware(behind.app, trusted_hosts="127.0.0.1")  # as the server has it
    client = TestClient(asked, client=("127.0.0.1", 50000), follow_redirects=False)
    answer = client.get("/", headers=proxied())
    assert answer.headers["location"].startswith("https://beds.example.org/sign-in")
    for _ in range(2):
        client.post("/sign-in", headers=proxied())
    assert client.post("/sign-in", headers=proxied()).status_code == 429
    elsewhere = proxied() | {"X-Forwarded-For": "203.0.113.8"}
    assert client.post("/sign-in", headers=elsewhere).status_code != 429
    behind.close()


def test_the_proxy_takes_what_the_server_takes_and_hands_news_on_at_once():
    text = (FILES / "nginx.conf").read_text()
    limit = re.search(r"client_max_body_size (\d+)m;", text)
    assert limit is not None
    assert int(limit[1]) * 2**20 >= Guard(None, settings=Settings()).most_bytes  # type: ignore[arg-type]
    news = text.split("location = /api/v1/records/news {")[1].split("}")[0]
    assert "proxy_buffering off;" in news
    assert text.count("{") == text.count("}")
