"""Send a run to a running server."""

from __future__ import annotations

import argparse
import getpass
import json
import os
import sys
import time
from typing import Any

import httpx

from beadline.kit.errors import Refusal

NAME_IT = "Name it with --server."
TIMEOUT_S = 120.0
LONGEST_WAIT_S = 300.0
TOO_MANY = 429
_NOT_THE_RUN = (401, 403, 408, 425, TOO_MANY)


def log_run(parsed: argparse.Namespace) -> int:
    """Post a trace file and print the verdict."""
    facts = {
        "column": parsed.column,
        "batch": parsed.batch,
        "number": parsed.number,
        "started_at": parsed.started_at,
        "note": parsed.note,
    }
    reply = post(
        parsed.file.read_bytes(),
        filename=parsed.file.name,
        facts=facts,
        server=parsed.server,
        credentials=credentials(parsed.user),
    )
    print(json.dumps(reply, indent=2, ensure_ascii=False) if parsed.json else told(reply))
    return 0


class NotNow(Refusal):
    """Nothing is wrong with the run, as far as is known: the server can't take it at present."""


def post(
    content: bytes, *, filename: str, facts: dict[str, str], server: str, credentials: dict[str, Any]
) -> dict[str, Any]:
    """Post a run and return the reply.

    Raises
    ------
    NotNow
        If the server does not answer, is busy or failing, or does not know or allow who sends.
    Refusal
        If it refuses the run.
    """
    sent = {"data": facts, "files": {"file": (filename, content)}}
    reply = call(f"{server.rstrip('/')}/api/v1/runs", credentials=credentials, **sent)
    if "cycle" not in reply:
        raise NotNow(f"The server {server} answers, and not as Beadline does.", mend=NAME_IT)
    return reply


def call(address: str, *, credentials: dict[str, Any], **sent: Any) -> dict[str, Any]:
    """Post to a server and return the reply; one that asks to wait is asked again.

    Raises
    ------
    NotNow
        If the server does not answer, is busy or failing, or does not know or allow who sends.
    Refusal
        If it refuses what is sent.
    """
    server = address.partition("/api/")[0]
    try:
        response = _posted(address, **sent, **credentials)
    except httpx.TransportError as error:
        raise NotNow(
            f"The server {server} does not answer: {error}.", mend=f"Is it running? {NAME_IT}"
        ) from error
    except (httpx.InvalidURL, httpx.UnsupportedProtocol) as error:
        raise Refusal(f"{server} is no address of a server: {error}.", mend=NAME_IT) from error
    reply = _json(response)
    if response.is_success and reply:
        return reply
    known = 400 <= response.status_code < 500 and not str(reply.get("code", "http-")).startswith("http-")
    raise (Refusal if known and response.status_code not in _NOT_THE_RUN else NotNow)(
        reply.get("title", f"The server {server} answered {response.status_code}, and not as Beadline does."),
        where=reply.get("where", ""),
        mend=reply.get("mend", ""),
        code=reply.get("code"),
    )


def _posted(address: str, **sent: Any) -> httpx.Response:
    """Post, and again as soon as a server that is too busy for it says, up to some minutes in all."""
    given_up_at = time.monotonic() + LONGEST_WAIT_S
    while True:
        response = httpx.post(address, timeout=TIMEOUT_S, **sent)
        wait = response.headers.get("Retry-After", "")
        if response.status_code != TOO_MANY or not wait.isdecimal():
            return response
        if time.monotonic() + int(wait) > given_up_at:
            return response
        print(f"The server asks to wait {wait} s.", file=sys.stderr)
        time.sleep(int(wait))


def credentials(user: str) -> dict[str, Any]:
    """Return what a request needs to sign in: a token, or a name and a password."""
    token = os.environ.get("BEADLINE_TOKEN")
    if token and not user:
        return {"headers": {"Authorization": f"Bearer {token}"}}
    name = user or input("Sign in as: ")
    password = os.environ.get("BEADLINE_PASSWORD") or getpass.getpass(f"Password of {name}: ")
    return {"auth": httpx.BasicAuth(name, password)}


def _json(response: httpx.Response) -> dict[str, Any]:
    try:
        found = response.json()
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


def told(reply: dict[str, Any]) -> str:
    """Return what a person wants to know of a recorded run."""
    run = f"cycle {reply['cycle']} of {reply['column']}, packing {reply['packing']}"
    if reply["already_recorded"]:
        return f"Recorded already, as {run}, logged by {reply['logged_by']}. Nothing was changed."
    drift = "" if reply["drift"] is None else f", drift {reply['drift']:g} sd"
    lines = [f"Recorded {run}: {reply['verdict']}. The bed: {reply['condition']}{drift}."]
    lines += [f"Not the bed: {sentence}" for sentence in reply["not_the_bed"]]
    lines += [f"Doubt: {sentence}" for sentence in reply.get("doubts", ())]
    still_open = reply.get("open_alert")
    if still_open and not reply["alert"]:
        lines.append(f"Still open, {still_open['level']} {still_open['id']}: {still_open['headline']}")
    if reply["alert"]:
        lines.append(
            f"{reply['alert']['level'].upper()} {reply['alert']['id']}: {reply['alert']['headline']}"
        )
    return "\n".join(lines)
