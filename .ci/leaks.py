"""Look for secrets in all files of the repository; those of demo and tests stand in known_secrets.json.

    python .ci/leaks.py           # fails if something is found that is not known
    python .ci/leaks.py --known   # writes what is found down as known, to be read before it is committed
"""

import json
import subprocess
import sys
from pathlib import Path

KNOWN = Path(__file__).with_name("known_secrets.json")
LEFT_OUT = r"^(requirements.*\.txt|seed_data/|\.ci/known_secrets\.json)"  # hashes and invented traces
COMMAND = Path(sys.executable).with_name("detect-secrets")


def found() -> list[list[str]]:
    """File, kind and SHA-1 of everything that looks like a secret."""
    scan = [COMMAND, "-c", "2", "scan", "--exclude-files", LEFT_OUT]
    results = json.loads(subprocess.run(scan, check=True, capture_output=True).stdout)["results"]
    return sorted([name, one["type"], one["hashed_secret"]] for name, all_ in results.items() for one in all_)


def main() -> int:
    """Compare what is found with what is known."""
    present = found()
    if sys.argv[1:] == ["--known"]:
        KNOWN.write_text("[\n" + ",\n".join(json.dumps(one) for one in present) + "\n]\n")
        return 0
    new = [one for one in present if one not in json.loads(KNOWN.read_text())]
    for name, kind, _ in new:
        print(f"{name}: {kind}: remove it, or note it with .ci/leaks.py --known if it guards nothing")
    print(f"{len(present)} strings look like secrets, {len(new)} of them unknown")
    return 1 if new else 0


if __name__ == "__main__":
    sys.exit(main())
