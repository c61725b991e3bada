"""What a person types to fill an empty library; nothing here is of any plant."""

from __future__ import annotations

from tests import sites
from tests.sites import Site
from tests.visitors import Visitor

COLUMN = {
    "name": "Dunlin",
    "asset_tag": "CL-7",
    "kind": "self-packing",
    "inner_diameter_cm": "20",
    "pressure_rating_bar": "3",
}
RESIN = {"name": "Marsh 90", "chemistry": "IEX", "bead_diameter_um": "90"}
LOT = {"resin": "Marsh 90", "lot_number": "M90-1", "received_on": "2025-01-07"}
PLAN = {
    "name": "Polish",
    "t0_name": "wash to strip",
    "t0_quantity": "conductivity",
    "t0_how": "mark",
    "t0_mark": "Strip*",
    "t0_direction": "up",
    "t1_name": "end",
    "t1_quantity": "ph",
    "t1_how": "volume",
    "t1_volume_cv": "2,5",
    "t1_direction": "down",
}
PACKING = {
    "column": "1",
    "lot": "1",
    "step_plan": "1",
    "packed_at": "2025-03-12T09:00",
    "bed_height_cm": "20,5",
}


def fill_the_library(engineer: Visitor) -> None:
    """Add a column, a resin, a lot and a step plan."""
    for shelf, form in {"columns": COLUMN, "resins": RESIN, "lots": LOT, "step-plans": PLAN}.items():
        engineer.send(f"/library/{shelf}", form)


def pack(engineer: Visitor) -> str:
    """Fill the library and record a packing; return its page."""
    fill_the_library(engineer)
    return engineer.send("/packings", PACKING)


def fill_packed(url: str) -> None:
    """Make people, and with the forms alone a packed bed."""
    sites.fill_people(url)
    site = Site(url)
    pack(site.visitor("engineer"))
    site.close()


def fill_library(url: str) -> None:
    """Make people, and with the forms alone what a packing is made of."""
    sites.fill_people(url)
    site = Site(url)
    fill_the_library(site.visitor("engineer"))
    site.close()
