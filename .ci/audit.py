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
        said = subprocess.run(asking, capture_output=True, timeout=LONGEST_S)
        dependencies = json.loads(said.stdout)["dependencies"]
    except (subprocess.TimeoutExpired, ValueError) as error:
        print(f"NOT AUDITED: the vulnerability service did not answer ({type(error).__name__})")
        return 0
    asked = [one for one in dependencies if "skip_reason" not in one]
    harmful = [one for one in asked if one["vulns"]]
    for one in harmful:
        print(f"{one['name']} {one['version']}: {', '.join(vuln['id'] for vuln in one['vulns'])}")
    if not asked:
        print(f"NOT AUDITED: the vulnerability service knew none of {len(dependencies)} dependencies")
    else:
        print(f"{len(asked)} of {len(dependencies)} dependencies audited, {len(harmful)} with vulnerabilities")
    return 1 if harmful else 0


if __name__ == "__main__":
    sys.exit(main())
