"""What the commands that move a plant's history take."""

from __future__ import annotations

import argparse
from pathlib import Path

SERVER = "http://127.0.0.1:8000"


def add_import_history(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `import-history`."""
    command = commands.add_parser(
        "import-history",
        help="send a sheet of earlier results or a folder of old traces to a running server",
        description="FILE is a sheet (XLSX or delimited text) with a run in each row: all accepted rows are "
        "recorded in one transaction or none is. FOLDER holds traces: they are sent oldest first, in batches "
        "of which each is one transaction. Sent again, nothing is doubled, so that what was stopped goes on. "
        "Look first with --dry-run. Sign in with BEADLINE_TOKEN, or with --user and BEADLINE_PASSWORD or a "
        "prompt.",
        epilog="Exit codes: 0 done; 1 refused or failed, which is also said of a folder of which a file was "
        "refused, and of a --dry-run that finds rows refused or something to answer; 2 called wrongly.",
    )
    command.add_argument("path", type=Path, metavar="FILE|FOLDER")
    command.add_argument("--column", required=True, help="asset tag or name")
    command.add_argument("--packing", default="", help="number of the packing; the present one if left out")
    command.add_argument("--dry-run", action="store_true", help="say what would become of each row, and stop")
    command.add_argument("--reason", default="", help="why; it stays in the record")
    command.add_argument(
        "--pattern",
        default="",
        help="how names of traces tell {number}, {date} (as 2019-03-04 or 20190304) and {batch}, such as "
        "'{number}_{date}_*'",
    )
    command.add_argument("--sheet", default="", help="name of the workbook's sheet")
    command.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="NAME=ROLE[:UNIT]",
        help="what a column is, such as --set 'Height=hetp:mm' or --set 'Operator=ignored'; repeatable",
    )
    command.add_argument(
        "--day-order", choices=["day first", "month first"], default="", help="of dates like 03/04/2019"
    )
    command.add_argument("--leave-out-refused", action="store_true", help="record the others all the same")
    command.add_argument("--json", action="store_true", help="print the whole reply as JSON")
    command.add_argument("--server", default=SERVER)
    command.add_argument("--user", default="")
    command.set_defaults(run=_import_history)


def add_export(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `export`."""
    command = commands.add_parser(
        "export",
        help="write the whole history as partitioned Parquet, for pandas, Polars, DuckDB and others",
        description="Reads the database of the settings. A second run into the same folder writes only what "
        "is new or changed.",
        epilog="Exit codes: 0 done; 1 failed, also if a trace could not be read; 2 called wrongly.",
    )
    command.add_argument("folder", type=Path, help="where beds/, results/ and traces/ are written")
    command.add_argument("--traces", action="store_true", help="with the signals of every trace")
    command.add_argument("--json", action="store_true", help="print what was written as JSON")
    command.set_defaults(run=_export)


def _export(parsed: argparse.Namespace) -> int:
    from beadline.cli import exporting

    return exporting.export(parsed)


def _import_history(parsed: argparse.Namespace) -> int:
    from beadline.cli import importing

    return importing.import_history(parsed)
