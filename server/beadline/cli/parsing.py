"""What the `beadline` command takes, and which function does it."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from beadline.cli.parsing_history import SERVER, add_export, add_import_history
from beadline.kit.errors import Refusal
from beadline.settings import BadSettings

EXIT_CODES = (
    "Exit codes: 0 done; 1 refused or failed, and of what checks (verify, import-history --dry-run, "
    "watch --once) that something is not as it should be; 2 called wrongly; 130 stopped with Ctrl-C."
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; return 0, 1 if it was refused, 2 if it was called wrongly."""
    parsed = _parser().parse_args(arguments)
    try:
        return int(parsed.run(parsed))
    except Refusal as refusal:
        where = f" ({refusal.where})" if refusal.where else ""
        print(f"beadline: {refusal.message}{where} {refusal.mend}".rstrip(), file=sys.stderr)
    except (BadSettings, OSError) as error:
        print(f"beadline: {error}", file=sys.stderr)
    except EOFError:
        mend = "Set BEADLINE_PASSWORD or BEADLINE_TOKEN, and --user."
        print(f"beadline: There is no terminal to ask for a name or password. {mend}", file=sys.stderr)
    except KeyboardInterrupt:
        return 130
    return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="beadline",
        description="Logbook and watchman of packed chromatography beds.",
        epilog=EXIT_CODES,
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    _add_server_commands(commands)
    _add_log_run(commands)
    _add_watch(commands)
    add_import_history(commands)
    add_export(commands)
    _add_analyse(commands)
    return parser


def _add_server_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    serve = commands.add_parser("serve", help="run the server; settings come from BEADLINE_ variables")
    serve.set_defaults(run=_serve)
    demo = commands.add_parser("demo", help="run the server with an invented plant in a database of its own")
    demo.add_argument(
        "--folder", type=Path, default=Path("beadline-data"), help="where the demo's database lies"
    )
    demo.add_argument("--port", type=int, default=8000)
    demo.add_argument("--load-only", action="store_true", help="load the data and stop")
    demo.set_defaults(run=_demo)
    migrate = commands.add_parser(
        "migrate", help="bring the database's tables to this version, or back to a revision"
    )
    which = migrate.add_mutually_exclusive_group()
    which.add_argument("--to", default="", metavar="REVISION", help="another revision than this version's")
    which.add_argument("--show", action="store_true", help="say which revision the tables are, no more")
    migrate.add_argument("--json", action="store_true", help="print the revisions as JSON")
    migrate.set_defaults(run=_migrate)
    work = commands.add_parser("work", help="send notices, where the server is told not to")
    work.set_defaults(run=_work)
    person = commands.add_parser("add-person", help="make an account, the first administrator for instance")
    person.add_argument("name", help="name to sign in with")
    person.add_argument("--full-name", default="")
    person.add_argument(
        "--role", required=True, choices=["viewer", "operator", "engineer", "quality", "administrator"]
    )
    person.add_argument("--json", action="store_true", help="print the account as JSON")
    person.set_defaults(run=_add_person)
    _add_keeping_commands(commands)
    _add_recompute(commands)


def _add_recompute(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    again = commands.add_parser(
        "recompute",
        help="analyse stored traces again by the present method; new results stand beside the old ones",
        description="Works on the database itself while the server runs. Stopped and started again, it goes "
        "on where it was. Sign in with BEADLINE_TOKEN, or with --user and BEADLINE_PASSWORD or a prompt.",
    )
    which = again.add_mutually_exclusive_group(required=True)
    which.add_argument("--column", default="", help="asset tag or name of the column")
    which.add_argument("--all", action="store_true", help="every bed of every column")
    again.add_argument("--reason", required=True, help="why; it stays in the record")
    again.add_argument("--dry-run", action="store_true", help="report what would change, and change nothing")
    again.add_argument("--json", action="store_true", help="print the reports as JSON, in stored units")
    where = again.add_mutually_exclusive_group()
    where.add_argument("--processes", type=int, help="processes that analyse; one a core if left out")
    where.add_argument(
        "--scheduler", default="", help="Dask scheduler whose workers analyse, such as tcp://host:8786"
    )
    again.add_argument("--user", default="")
    again.set_defaults(run=_recompute)


def _add_keeping_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    verify = commands.add_parser("verify", help="check that no record or trace was altered or taken away")
    verify.set_defaults(run=_verify)
    backup = commands.add_parser("backup", help="copy the database while the server runs")
    backup.add_argument("folder", type=Path, help="where the copy and its checksum are written")
    backup.set_defaults(run=_backup)
    restore = commands.add_parser(
        "restore", help="take a backup back, the server being stopped; no present database is overwritten"
    )
    restore.add_argument("file", type=Path, help="the .db file that `beadline backup` wrote")
    for command in (verify, backup, restore):
        command.add_argument("--json", action="store_true", help="print the outcome as JSON")
    restore.set_defaults(run=_restore)


def _add_log_run(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    log = commands.add_parser(
        "log-run",
        help="send a trace file to a running server, and print the verdict",
        description="Sign in with BEADLINE_TOKEN, or with --user and BEADLINE_PASSWORD or a prompt.",
    )
    log.add_argument("file", type=Path)
    log.add_argument("--column", required=True, help="asset tag or name")
    log.add_argument("--batch", default="")
    log.add_argument("--number", default="", help="cycle number; the next one if left out")
    log.add_argument("--started-at", default="", help="ISO 8601, such as 2031-03-12T14:05")
    log.add_argument("--note", default="")
    log.add_argument("--server", default=SERVER)
    log.add_argument("--user", default="")
    log.add_argument("--json", action="store_true", help="print the whole reply as JSON")
    log.set_defaults(run=_log_run)


def _add_watch(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    watch = commands.add_parser(
        "watch",
        help="send every finished file of a folder to a running server",
        description="Recorded files go to done/, refused ones to refused/, each with a note beside it. "
        "Sign in with BEADLINE_TOKEN, or with --user and BEADLINE_PASSWORD or a prompt.",
    )
    watch.add_argument("folder", type=Path)
    which = watch.add_mutually_exclusive_group(required=True)
    which.add_argument("--column", default="", help="asset tag or name of the column of all files")
    which.add_argument(
        "--pattern",
        default="",
        help="how names of files name the column, such as '{column}_*'; also {batch} and {number}",
    )
    watch.add_argument(
        "--settle", type=float, default=10.0, help="seconds for which a file must stand still; 10 if left out"
    )
    watch.add_argument("--once", action="store_true", help="stop when no file is left that can be sent")
    watch.add_argument("--json", action="store_true", help="print a line of JSON for each file and event")
    watch.add_argument("--server", default=SERVER)
    watch.add_argument("--user", default="")
    watch.set_defaults(run=_watch)


def _add_analyse(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    analyse = commands.add_parser(
        "analyse",
        help="print a trace's results as JSON, without any database",
        description="Without --mark every step of the signal is analysed; with --pulse the tracer peak is.",
    )
    analyse.add_argument("file", type=Path)
    analyse.add_argument("--diameter-cm", type=float, required=True, help="inner diameter of the column")
    analyse.add_argument("--height-cm", type=float, required=True, help="height of the packed bed")
    analyse.add_argument("--signal", choices=["conductivity", "uv", "ph"], default="conductivity")
    analyse.add_argument(
        "--mark", action="append", default=[], help="step that opens a transition; repeatable"
    )
    analyse.add_argument("--hold-up-ml", type=float, default=0.0, help="volume between switch and detector")
    analyse.add_argument("--pulse", action="store_true", help="read the file as a pulse test")
    analyse.add_argument("--injection-ml", type=float, help="volume of tracer, with --pulse")
    analyse.add_argument("--bead-um", type=float, help="mean bead diameter, with --pulse")
    analyse.set_defaults(run=_analyse)


def _serve(_: argparse.Namespace) -> int:
    from beadline.cli import running

    return running.serve()


def _demo(parsed: argparse.Namespace) -> int:
    from beadline.cli import running

    return running.demo(parsed.folder, port=parsed.port, load_only=parsed.load_only)


def _work(parsed: argparse.Namespace) -> int:
    from beadline.cli import running

    return running.work()


def _migrate(parsed: argparse.Namespace) -> int:
    from beadline.cli import running

    return running.migrate(to=parsed.to, show=parsed.show, as_json=parsed.json)


def _add_person(parsed: argparse.Namespace) -> int:
    from beadline.cli import running

    return running.add_person(parsed.name, full_name=parsed.full_name, role=parsed.role, as_json=parsed.json)


def _verify(parsed: argparse.Namespace) -> int:
    from beadline.cli import keeping

    return keeping.verify(as_json=parsed.json)


def _backup(parsed: argparse.Namespace) -> int:
    from beadline.cli import keeping

    return keeping.back_up(parsed.folder, as_json=parsed.json)


def _restore(parsed: argparse.Namespace) -> int:
    from beadline.cli import keeping

    return keeping.restore(parsed.file, as_json=parsed.json)


def _recompute(parsed: argparse.Namespace) -> int:
    from beadline.cli import recomputing

    return recomputing.recompute(parsed)


def _log_run(parsed: argparse.Namespace) -> int:
    from beadline.cli import sending

    return sending.log_run(parsed)


def _watch(parsed: argparse.Namespace) -> int:
    from beadline.cli import watching

    return watching.watch(parsed)


def _analyse(parsed: argparse.Namespace) -> int:
    from beadline.cli import analysing

    return analysing.analyse(parsed)
