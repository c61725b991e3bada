"""Send the finished files of a folder to a running server, one after the other, for as long as it takes."""

from __future__ import annotations

import argparse
import json
import re
import signal
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from beadline.cli import sending
from beadline.cli.dropping import DONE, REFUSED, Folder, pattern
from beadline.kit import clock
from beadline.kit.errors import Refusal

_LONGEST_WAIT_S = 300.0
_PATIENCE = 20  # settling times for which --once waits for files that go on changing or can't be read


def watch(parsed: argparse.Namespace) -> int:
    """Watch a folder until stopped; with --once until it is empty; 1 if a file was refused or left."""
    watcher = Watcher(
        Folder(parsed.folder, parsed.settle),
        column=parsed.column,
        names=pattern(parsed.pattern) if parsed.pattern else None,
        server=parsed.server,
        credentials=sending.credentials(parsed.user),
        as_json=parsed.json,
    )
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, lambda *_: watcher.stop.set())
    watcher.say(f"Watching {parsed.folder} for {parsed.server}.")
    return watcher.run(once=parsed.once)


@dataclass
class Watcher:
    """Takes files from a folder to a server; whatever stops it, the next start goes on.

    Nothing is remembered besides the files themselves: one that was recorded but not yet moved when the
    watcher stopped is sent again, and the server says that it is recorded.
    """

    folder: Folder
    column: str
    names: re.Pattern[str] | None
    server: str
    credentials: dict[str, Any]
    as_json: bool = False
    stop: threading.Event = field(default_factory=threading.Event)
    refused: int = 0
    put_away: int = 0
    _trouble: str = ""
    _wait_s: float = 0.0

    def say(self, text: str, **more: Any) -> None:
        """Print a line with the time, or all that is known as a line of JSON."""
        at = clock.now()
        if self.as_json:
            print(json.dumps({"at": at.isoformat(), "said": text, **more}, ensure_ascii=False), flush=True)
        else:
            print(f"{at:%Y-%m-%d %H:%M:%S} UTC  {text}", flush=True)

    def run(self, *, once: bool) -> int:
        """Go round until stopped."""
        usual = max(0.05, min(5.0, self.folder.settle_s / 2))
        began, put_away = time.monotonic(), 0
        while not self.stop.is_set():
            well = self._round()
            if put_away != self.put_away:
                began, put_away = time.monotonic(), self.put_away
            left = time.monotonic() - began > _PATIENCE * max(self.folder.settle_s, 0.05)
            if once and well and self.folder.waiting and left:
                self.say(f"Files that go on changing or can't be read are left: {self.folder.waiting}.")
            if once and (not well or not self.folder.waiting or left):
                return 1 if self.refused or not well or self.folder.waiting else 0
            self._wait_s = usual if well else min(_LONGEST_WAIT_S, max(usual, 2 * self._wait_s))
            self.stop.wait(self._wait_s)
        self.say("Stopped.")
        return 0

    def _round(self) -> bool:
        """Send what is finished; False if folder or server could not be used."""
        try:
            for path in self.folder.finished():
                if self.stop.is_set():
                    break
                self._take(path)
        except OSError as error:
            return self._troubled(f"The folder {self.folder.path} can't be used ({error.strerror or error}).")
        except sending.NotNow as trouble:
            return self._troubled(" ".join(filter(None, (trouble.message, trouble.mend))))
        if self._trouble:
            self.say("All is well again.")
        self._trouble = ""
        return True

    def _troubled(self, said: str) -> bool:
        """Say once what is wrong; files stay where they are."""
        if said != self._trouble:
            self.say(f"{said} Files stay where they are; trying again, at longer and longer intervals.")
        self._trouble = said
        return False

    def _take(self, path: Path) -> None:
        try:
            content = self.folder.read(path)
        except (FileNotFoundError, PermissionError) as error:
            if self.folder.path.is_dir():  # taken away, or still held by the program that writes it
                self.say(f"{path.name} can't be read yet ({error.strerror}).")
                return
            raise
        if content is None:
            return
        try:
            reply = self._post(path.name, content)
        except sending.NotNow:
            raise
        except Refusal as refusal:
            if self.names is None and refusal.code == "no-such-column":
                raise  # no file is to blame if --column is wrong
            self._put_away_refused(path, refusal)
            return
        said = sending.told(reply)
        self.put_away += 1
        self.folder.put_away(path, DONE, f"{said}\n{self.server.rstrip('/')}{reply['address']}")
        self.say(f"{path.name}: {said.splitlines()[0]}", file=path.name, outcome=DONE, run=reply)

    def _post(self, filename: str, content: bytes) -> dict[str, Any]:
        facts = {"column": self.column}
        if self.names is not None:
            found = self.names.fullmatch(filename)
            if found is None:
                mend = "Rename the file, or start `beadline watch` with another --pattern."
                raise Refusal("The name of the file does not fit the pattern.", where=filename, mend=mend)
            facts = found.groupdict()
        return sending.post(
            content, filename=filename, facts=facts, server=self.server, credentials=self.credentials
        )

    def _put_away_refused(self, path: Path, refusal: Refusal) -> None:
        where = f"Where: {refusal.where}\n" if refusal.where else ""
        note = f"Refused: {refusal.message}\n{where}What to do: {refusal.mend or 'see the server'}\n"
        again = "Once mended, move the file back into the folder."
        self.folder.put_away(path, REFUSED, note + again)
        self.refused += 1
        self.put_away += 1
        problem = {"code": refusal.code, "where": refusal.where, "mend": refusal.mend}
        said = f"{path.name}: refused. {refusal.message} {refusal.mend}".rstrip()
        self.say(said, file=path.name, outcome=REFUSED, problem=problem)
