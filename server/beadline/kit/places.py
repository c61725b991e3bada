"""Where the files that travel with the package are: in the wheel, or in the checkout."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent.parent
_CHECKOUT = _PACKAGE.parent.parent


def folder(name: str) -> Path:
    """Find a folder that is packed into the wheel: web, migrations or seed_data.

    Raises
    ------
    FileNotFoundError
        If the installation lacks it.
    """
    for base in (_PACKAGE, _CHECKOUT):
        if (base / name).is_dir():
            return base / name
    raise FileNotFoundError(
        f"The folder {name!r} is missing from this installation of Beadline; install it again."
    )
