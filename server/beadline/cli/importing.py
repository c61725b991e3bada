"""Send a sheet of earlier results, or a folder of old traces, to a running server."""

from __future__ import annotations

import argparse
import json
from typing import Any

from beadline.cli import importing_folder, sending
from beadline.kit.errors import Invalid

MAY_ALERT = (
    "When they are recorded, the bed's whole life is judged anew, which may raise alerts about what happened "
    "then. A plate height is taken as one from moments, of the step plan's first transition on conductivity."
)


def import_history(parsed: argparse.Namespace) -> int:
    """Look at a sheet or folder, and import it unless only a look is asked for."""
    if parsed.path.is_dir():
        return importing_folder.import_folder(parsed)
    content = parsed.path.read_bytes()
    address = f"{parsed.server.rstrip('/')}/api/v1/earlier-results"
    credentials = sending.credentials(parsed.user)
    facts = {"column": parsed.column, "packing": parsed.packing}

    def ask(to: str, **more: str) -> dict[str, Any]:
        files = {"file": (parsed.path.name, content)}
        return sending.call(to, credentials=credentials, data=facts | more, files=files)

    how = (
        _how(parsed, {}) if not parsed.set else _how(parsed, ask(f"{address}/look", reading=_how(parsed, {})))
    )
    if parsed.dry_run:
        reply = ask(f"{address}/look", reading=how)
        open_ends = bool(reply["questions"] or reply["counts"]["refused"])
    else:
        leave_out = "true" if parsed.leave_out_refused else "false"
        reply = ask(address, reading=how, reason=parsed.reason, leave_out_refused=leave_out)
        open_ends = False
    print(
        json.dumps(reply, indent=2, ensure_ascii=False)
        if parsed.json
        else told(reply, dry_run=parsed.dry_run)
    )
    return 1 if open_ends else 0


def _how(parsed: argparse.Namespace, seen: dict[str, Any]) -> str:
    """Return how the sheet is to be read, as JSON; columns are named by their headers in what was seen."""
    columns = {}
    for setting in parsed.set if seen else ():
        name, _, told = setting.rpartition("=")
        role, _, unit = told.partition(":")
        found = [one for one in seen["columns"] if one["header"].casefold() == name.strip().casefold()]
        if not found:
            known = ", ".join(one["header"] for one in seen["columns"] if one["header"])
            raise Invalid(f"The sheet has no column {name!r}.", where="--set", mend=f"It has {known}.")
        columns[found[0]["index"]] = {"role": role.strip()} | ({"unit": unit.strip()} if unit else {})
    return json.dumps({"sheet": parsed.sheet, "columns": columns, "day_order": parsed.day_order})


def told(reply: dict[str, Any], *, dry_run: bool) -> str:
    """Return what a person wants to know of a sheet that was looked at or imported."""
    lines = list(reply["recognised"])
    for row in reply["rows"]:
        if row["said"] and row["status"] != "left out":
            cycle = f", cycle {row['cycle']}" if row["cycle"] else ""
            where = f" ({row['where']})" if row["where"] else ""
            lines.append(
                f"Row {row['row']}{cycle}: {row['status']}. {row['said']}{where} {row['mend']}".rstrip()
            )
    lines += [f"To be answered ({one['where']}): {one['said']} {one['mend']}" for one in reply["questions"]]
    counts = ", ".join(f"{count} {status}" for status, count in reply["counts"].items())
    bed = f"{reply['column']}, packing {reply['packing']}"
    if dry_run:
        lines.append(MAY_ALERT)
    done = "Nothing was recorded, since this was a look." if dry_run else f"Recorded {reply['recorded']}."
    return "\n".join([*lines, f"{bed}: rows {counts}. {done}"])
