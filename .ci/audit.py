"""Ask which of the locked dependencies have known vulnerabilities, and say so if nobody answers."""

import json
import subprocess
import sys
from pathlib import Path

COMMAND = Path(sys.executable).with_name("pip-audit")
LONGEST_S = 60


def main() -> int:
    """Fail if a vulnerability is known; an audit that could not be made fails nothing, but is told."""
    asking = [COMMAND, "-r", "requirements.txt", "--disable-pip", "--require-hashes", "-f", "json", "--timeout", "5"]
    try:
        answer = subprocess.run(asking, capture_output=True, timeout=LONGEST_S, text=True)
        said, why = answer.stdout, answer.stderr
    except subprocess.TimeoutExpired:
        said, why = "", f"no answer within {LONGEST_S} s"
    harmful, lines = judged(said, why)
    print("\n".join(lines))
    return 1 if harmful else 0


def judged(said: str, why: str = "") -> tuple[int, list[str]]:
    """Return how many dependencies are vulnerable by what `pip-audit` said, and the lines that tell it."""
    try:
        dependencies = json.loads(said)["dependencies"]
    except ValueError:
        last = next(reversed(why.strip().splitlines()), "nothing was said")
        return 0, [f"NOT AUDITED: the vulnerability service did not answer ({last})"]
    asked = [one for one in dependencies if "skip_reason" not in one]
    harmful = [one for one in asked if one["vulns"]]
    if not asked:
        return 0, [f"NOT AUDITED: the vulnerability service knew none of {len(dependencies)} dependencies"]
    lines = [f"{one['name']} {one['version']}: {', '.join(vuln['id'] for vuln in one['vulns'])}" for one in harmful]
    summary = f"{len(asked)} of {len(dependencies)} dependencies audited, {len(harmful)} with vulnerabilities"
    return len(harmful), [*lines, summary]


if __name__ == "__main__":
    sys.exit(main())
