"""Write the whole history as partitioned Parquet; a second run writes only what is new or changed."""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy.orm import Session

from beadline.boundary import tabular
from beadline.cli import progress
from beadline.features.cycles.schemas import is_typed
from beadline.features.overview.service import tables
from beadline.features.packings import service as packings
from beadline.kit.errors import Refusal
from beadline.settings import load
from beadline.store.engine import make_engine, reading_sessions
from beadline.store.tables import Cycle, Packing

MANIFEST = "_manifest.json"
IN_THE_PATH = ("column", "packing")  # what the folders say already


def export(parsed: argparse.Namespace) -> int:
    """Write what has changed since the last run into a folder."""
    writer = _Writer.opened(parsed.folder, with_traces=parsed.traces)
    engine = make_engine(load().database_url)
    with reading_sessions(engine)() as session:
        every = packings.every(session)
        writer.put(Path("beds") / "beds.parquet", tables.beds(every))
        stamps = tables.stamps(session, every)
        for done, packing in enumerate(every, start=1):
            writer.bed(session, packing, stamps.get(packing.id, ""))
            session.expunge_all()  # one bed at a time in memory
            progress.show(done, len(every), "beds", stream=sys.stderr)
    engine.dispose()
    writer.save()
    told = {"folder": str(parsed.folder), "written": writer.written, "unchanged": writer.unchanged}
    told |= {"harmed": writer.harmed}
    if parsed.json:
        print(json.dumps(told, indent=2, ensure_ascii=False))
    else:
        rest = f"{writer.unchanged} were as they should be"
        print(f"Wrote {len(writer.written)} files to {parsed.folder}; {rest}.")
        for said in writer.harmed:
            print(said, file=sys.stderr)
    return 1 if writer.harmed else 0


@dataclass
class _Writer:
    """Files of a folder, with what is known of them from the last run.

    Attributes
    ----------
    beds : dict
        The stamp of each bed whose files are as it says.
    files : dict
        SHA-256 of each file.
    """

    folder: Path
    with_traces: bool
    beds: dict[str, str] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)
    written: list[str] = field(default_factory=list)
    harmed: list[str] = field(default_factory=list)

    @classmethod
    def opened(cls, folder: Path, *, with_traces: bool) -> _Writer:
        folder.mkdir(parents=True, exist_ok=True)
        known: dict[str, Any] = {}
        if (folder / MANIFEST).exists():
            known = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        return cls(folder, with_traces, known.get("beds", {}), known.get("files", {}))

    def bed(self, session: Session, packing: Packing, stamp: str) -> None:
        """Write a bed's results, and its traces if they are asked for."""
        place = Path(f"column={quote(packing.column.asset_tag)}") / f"packing={packing.number}"
        stamp += ", with traces" if self.with_traces else ""
        if self.beds.get(place.as_posix()) == stamp and self._is_there(place):
            return
        for first, reports in tables.chunks(session, packing):
            columns = tables.series_of(packing, reports)
            self.put(Path("results") / place / f"cycles-{first:06d}.parquet", columns)
            if self.with_traces:
                self._traces(session, packing, place, [one.cycle for one in reports])
        self.beds[place.as_posix()] = stamp
        self.save()  # what stops the command later does not undo this bed

    def put(self, name: Path, columns: tables.Columns) -> None:
        """Write a table unless its file holds it already; readers never see half a file."""
        told = IN_THE_PATH if name.parts[0] == "results" else ()
        kept = {key: values for key, values in columns.items() if key not in told}
        content = tabular.encoded(kept, "parquet")
        sha256, path = hashlib.sha256(content).hexdigest(), self.folder / name
        if self.files.get(name.as_posix()) == sha256 and path.exists():
            return
        path.parent.mkdir(parents=True, exist_ok=True)
        half = path.with_suffix(".half")
        half.write_bytes(content)
        half.replace(path)
        self.files[name.as_posix()] = sha256
        self.written.append(name.as_posix())

    @property
    def unchanged(self) -> int:
        """How many files needed no writing."""
        return len(self.files) - len(self.written)

    def _is_there(self, place: Path) -> bool:
        below = f"/{place.as_posix()}/"
        return all((self.folder / name).exists() for name in self.files if below in f"/{name}")

    def _traces(self, session: Session, packing: Packing, place: Path, cycles: Sequence[Cycle]) -> None:
        """Write traces that are not there: a trace never changes."""
        for cycle in cycles:
            name = Path("traces") / place / f"cycle-{cycle.number:06d}-{cycle.id}.parquet"
            if is_typed(cycle) or (name.as_posix() in self.files and (self.folder / name).exists()):
                continue
            try:
                columns = tables.trace_of(session, packing, cycle)
            except Refusal as refusal:
                self.harmed.append(f"Cycle {cycle.number} of {place.as_posix()}: {refusal.message}")
                continue
            self.put(name, {"cycle": [cycle.number] * len(columns["value"]), **columns})

    def save(self) -> None:
        """Write down what is there now."""
        half = self.folder / f"{MANIFEST}.half"
        half.write_text(json.dumps({"beds": self.beds, "files": self.files}, indent=1), encoding="utf-8")
        half.replace(self.folder / MANIFEST)
