"""Send a folder of old traces to a running server, in batches; whatever stops it, the next start goes on."""

from __future__ import annotations

import argparse
import json
import re
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from beadline.cli import dropping, progress, sending
from beadline.kit.errors import Invalid, Refusal

MOST_FILES, MOST_BYTES = 20, 30_000_000  # of one request


@dataclass
class OldRun:
    """A file with what its name tells, and what the server said of it."""

    path: Path
    facts: dict[str, Any]
    answer: dict[str, Any] = field(default_factory=dict)

    @property
    def order(self) -> tuple[int, str, str]:
        """What puts it before or behind the others: its number, else its start."""
        return self.facts.get("number") or 0, self.answer.get("started_at") or "", self.path.name


def import_folder(parsed: argparse.Namespace) -> int:
    """Look at every file, then send those that can be recorded, oldest first."""
    runs = [OldRun(path, _facts(path, parsed.pattern)) for path in _files(parsed.path)]
    sender = _Sender(parsed)
    sender.look(runs)
    for run in runs:
        if run.answer["status"] == "would be recorded" and not run.answer["started_at"]:
            run.answer |= {"status": "refused", "problem": _NO_START}
    ready = [run for run in runs if run.answer["status"] == "would be recorded"]
    if not parsed.dry_run and ready:
        sender.send(sorted(ready, key=lambda run: run.order))
    print(json.dumps(_plain(runs), indent=2, ensure_ascii=False) if parsed.json else _told(runs))
    return 1 if any(run.answer["status"] == "refused" for run in runs) else 0


_NO_START = {
    "title": "Neither the file nor its name tells when the run started.",
    "where": "started_at",
    "mend": "Name the date in --pattern, such as '{number}_{date}_*'.",
}


def _files(folder: Path) -> list[Path]:
    found = [one for one in sorted(folder.rglob("*")) if one.is_file() and not dropping.unfinished(one.name)]
    if not found:
        raise Invalid(f"There is no file in {folder}.", where="FOLDER", mend="Name the folder of old traces.")
    return found


def _facts(path: Path, pattern: str) -> dict[str, Any]:
    """Return what the name of a file tells."""
    if not pattern:
        return {}
    names = dropping.pattern(pattern, needed="", others=("number", "date", "batch"))
    found = names.fullmatch(path.name)
    if found is None:
        return {"misfit": True}
    told: dict[str, Any] = {name: value for name, value in found.groupdict().items() if name == "batch"}
    if "number" in found.groupdict():
        told["number"] = int(found["number"])
    if "date" in found.groupdict():
        told["started_at"] = re.sub(r"(\d{4})-?(\d\d)-?(\d\d)", r"\1-\2-\3T00:00", found["date"])
    return told


class _Sender:
    """Sends batches, and shows how far it is."""

    def __init__(self, parsed: argparse.Namespace) -> None:
        self.address = f"{parsed.server.rstrip('/')}/api/v1/runs/bulk"
        self.form = {"column": parsed.column, "packing": parsed.packing}
        self.reason = parsed.reason
        self.credentials = sending.credentials(parsed.user)

    def look(self, runs: Sequence[OldRun]) -> None:
        """Ask what each file would become."""
        named = [run for run in runs if "misfit" not in run.facts]
        for run in runs:
            if run not in named:
                mend = "Rename the file, or give another --pattern."
                problem = {
                    "title": "The name of the file does not fit the pattern.",
                    "where": "",
                    "mend": mend,
                }
                run.answer = {"status": "refused", "cycle": None, "started_at": None, "problem": problem}
        self._each(named, f"{self.address}/look", "files looked at")

    def send(self, runs: Sequence[OldRun]) -> None:
        """Record the runs; each batch is one transaction.

        Raises
        ------
        Refusal
            If the server stops answering; what was recorded until then stays.
        """
        self._each(runs, self.address, "runs sent", reason=self.reason)

    def _each(self, runs: Sequence[OldRun], address: str, noun: str, **form: str) -> None:
        done = 0
        for batch in _batches(runs):
            facts = json.dumps({"runs": [run.facts for run in batch]})
            parts = [("files", (run.path.name, run.path.read_bytes())) for run in batch]
            try:
                reply = sending.call(
                    address,
                    credentials=self.credentials,
                    data=self.form | form | {"facts": facts},
                    files=parts,
                )
            except sending.NotNow as trouble:
                said = f"{trouble.message} {done} of {len(runs)} {noun}."
                mend = f"{trouble.mend} Run the same command again: it goes on where it was.".strip()
                raise Refusal(said, mend=mend) from trouble
            for run, answer in zip(batch, reply["answers"], strict=True):
                run.answer |= _answered(answer)
            done += len(batch)
            progress.show(done, len(runs), noun, stream=sys.stderr)


def _answered(answer: dict[str, Any]) -> dict[str, Any]:
    """Return an answer to a look or to a sent run in the same words."""
    if "run" not in answer:
        return answer
    words = {201: "recorded", 200: "there already"}
    run = answer["run"] or {}
    told = {"status": words.get(answer["status"], "refused"), "problem": answer["problem"]}
    return (
        told
        | {key: run[key] for key in ("started_at", "verdict") if key in run}
        | {"cycle": run.get("cycle")}
    )


def _batches(runs: Sequence[OldRun]) -> Iterator[list[OldRun]]:
    batch: list[OldRun] = []
    size = 0
    for run in runs:
        size += run.path.stat().st_size
        if batch and (len(batch) == MOST_FILES or size > MOST_BYTES):
            yield batch
            batch, size = [], run.path.stat().st_size
        batch.append(run)
    if batch:
        yield batch


def _plain(runs: Sequence[OldRun]) -> list[dict[str, Any]]:
    return [run.answer | {"filename": run.path.name} for run in runs]


def _told(runs: Sequence[OldRun]) -> str:
    lines, counts = [], dict[str, int]()
    for run in runs:
        status, cycle, problem = run.answer["status"], run.answer["cycle"], run.answer.get("problem")
        counts[status] = counts.get(status, 0) + 1
        said = f"{run.path.name}: {status}" + (f", cycle {cycle}" if cycle else "")
        lines.append(f"{said}. {problem['title']} {problem['mend']}".rstrip() if problem else f"{said}.")
    return "\n".join(
        [*lines, ", ".join(f"{count} {status}" for status, count in sorted(counts.items())) + "."]
    )
