"""Send a run to a running server."""

from __future__ import annotations

import argparse
import getpass
import json
import os
from typing import Any

import httpx

from beadline.kit.errors import Refusal


def log_run(parsed: argparse.Namespace) -> int:
    """Post a trace file and print the verdict."""
    facts = {
        "column": parsed.column,
        "batch": parsed.batch,
        "number": parsed.number,
        "started_at": parsed.started_at,
        "note": parsed.note,
    }
    content = parsed.file.read_bytes()
    try:
        response = httpx.post(
            f"{parsed.server.rstrip('/')}/api/v1/runs",
            data=facts,
            files={"file": (parsed.file.name, content)},
            timeout=120,
            **_credentials(parsed.user),
        )
    except httpx.TransportError as error:
        mend = "Is it running? Name it with --server."
        raise Refusal(f"The server {parsed.server} does not answer: {error}.", mend=mend) from error
    reply = _json(response)
    if response.is_error:
        raise Refusal(
            reply.get("title", f"The server answered {response.status_code}."),
            where=reply.get("where", ""),
            mend=reply.get("mend", ""),
        )
    print(json.dumps(reply, indent=2, ensure_ascii=False) if parsed.json else _told(reply))
    return 0


def _credentials(user: str) -> dict[str, Any]:
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


def _told(reply: dict[str, Any]) -> str:
    run = f"cycle {reply['cycle']} of {reply['column']}, packing {reply['packing']}"
    if reply["already_recorded"]:
        return f"Recorded already, as {run}, logged by {reply['logged_by']}. Nothing was changed."
    drift = "" if reply["drift"] is None else f", drift {reply['drift']:g} sd"
    lines = [f"Recorded {run}: {reply['verdict']}. The bed: {reply['condition']}{drift}."]
    lines += [f"Not the bed: {sentence}" for sentence in reply["not_the_bed"]]
    if reply["alert"]:
        lines.append(
            f"{reply['alert']['level'].upper()} {reply['alert']['id']}: {reply['alert']['headline']}"
        )
    return "\n".join(lines)
