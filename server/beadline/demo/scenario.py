"""Reading the demo plant from its scenario files."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from beadline.demo import lives
from beadline.demo.plant import (
    Phase,
    Plant,
    PlantColumn,
    PlantCycle,
    PlantEvent,
    PlantLot,
    PlantPacking,
    PlantPulseTest,
    PlantResin,
    PlantStepPlan,
)
from beadline.demo.truth import Change, Truth

_TEXT = {"name", "asset_tag", "kind", "area", "skid", "chemistry"}


def _table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _typed(row: Mapping[str, str]) -> dict[str, Any]:
    return {
        key: value if key in _TEXT else int(value) if value.isdigit() else float(value)
        for key, value in row.items()
    }


def _lots(folder: Path, today: date) -> tuple[PlantLot, ...]:
    return tuple(
        PlantLot(
            lot_number=row["lot_number"],
            resin=row["resin"],
            received_on=today - timedelta(days=int(row["received_days_ago"])),
        )
        for row in _table(folder / "lots.csv")
    )


def _step_plan(entry: Mapping[str, Any]) -> PlantStepPlan:
    defaults = {"occurrence": 1, "start_cv": -0.2, "end_cv": 2.0, "direction": "either", "volume_cv": None}
    return PlantStepPlan(
        name=entry["name"],
        product=entry["product"],
        reference_velocity_cm_h=float(entry["reference_velocity_cm_h"]),
        transitions=tuple(defaults | transition for transition in entry["transitions"]),
        phases=tuple(Phase(**phase) for phase in entry["phases"]),
    )


@dataclass(frozen=True, slots=True)
class _Shelf:
    """What packings refer to by name."""

    seed: int
    midnight: datetime
    operators: tuple[str, ...]
    columns: Mapping[str, PlantColumn]
    resins: Mapping[str, PlantResin]
    lots: Mapping[str, PlantLot]
    step_plans: Mapping[str, PlantStepPlan]
    events: tuple[Mapping[str, str], ...]


def _cycles(entry: Mapping[str, Any], shelf: _Shelf) -> tuple[PlantCycle, ...]:
    """Cycles back in time from the newest one, at uneven distances; a batch takes a few cycles."""
    count, apart = int(entry["cycles"]), float(entry["hours_between_cycles"])
    newest = shelf.midnight - timedelta(hours=float(entry["newest_hours_ago"]))
    rng = lives.generator(shelf.seed, entry["key"], "calendar")
    back = [0.0, *(apart * rng.uniform(0.8, 1.2, count)).cumsum().tolist()]
    operators = rng.integers(len(shelf.operators), size=count).tolist()
    per_batch = int(entry["cycles_per_batch"])
    return tuple(
        PlantCycle(
            number=number,
            batch=f"{entry['batch_prefix']}-{101 + (number - 1) // per_batch}",
            started_at=(newest - timedelta(hours=back[count - number])).replace(second=0, microsecond=0),
            operator=shelf.operators[operators[number - 1]],
        )
        for number in range(1, count + 1)
    )


def _pulse_tests(
    entry: Mapping[str, Any], cycles: tuple[PlantCycle, ...], packed_at: datetime, volume_ml: float
) -> tuple[PlantPulseTest, ...]:
    """The first test is done a day after packing, later ones a few hours after their cycle."""
    return tuple(
        PlantPulseTest(
            number=number,
            after_cycle=test["after_cycle"],
            performed_at=(
                cycles[test["after_cycle"] - 1].started_at + timedelta(hours=7)
                if test["after_cycle"]
                else packed_at + timedelta(hours=5 + 4 * number)
            ),
            tracer=test["tracer"],
            injection_ml=round(volume_ml * test["injection_percent_of_bed"] / 100, 3),
            velocity_cm_h=float(test["velocity_cm_h"]),
        )
        for number, test in enumerate(entry["pulse_tests"], start=1)
    )


def _events(key: str, cycles: tuple[PlantCycle, ...], shelf: _Shelf) -> tuple[PlantEvent, ...]:
    return tuple(
        PlantEvent(
            kind=row["kind"],
            happened_at=cycles[int(row["after_cycle"]) - 1].started_at
            + timedelta(hours=float(row["hours_after"])),
            note=row["note"],
        )
        for row in shelf.events
        if row["packing"] == key
    )


def _packing(entry: Mapping[str, Any], shelf: _Shelf) -> PlantPacking:
    column, lot = shelf.columns[entry["column"]], shelf.lots[entry["lot"]]
    cycles = _cycles(entry, shelf)
    first = cycles[0].started_at if cycles else shelf.midnight - timedelta(hours=entry["newest_hours_ago"])
    packed_at = (first - timedelta(hours=53)).replace(minute=30)
    volume_l = 3.141592653589793 / 4 * column.inner_diameter_mm**2 * entry["bed_height_mm"] / 1e6
    slurry_l = volume_l * entry["compression_factor"] / (entry["slurry_percent"] / 100)
    ended = entry.get("unpacked_hours_after_last_cycle")
    copied = {f.name for f in fields(PlantPacking)} & set(entry) - {"column", "lot", "step_plan", "truth"}
    plain = {name: entry[name] for name in copied - {"cycles", "pulse_tests", "changes"}}
    return PlantPacking(
        **{"pool_volume_l": None, "pool_tank_l": None} | plain,
        column=column,
        lot=lot,
        resin=shelf.resins[lot.resin],
        step_plan=shelf.step_plans[entry["step_plan"]],
        packed_at=packed_at,
        unpacked_at=cycles[-1].started_at + timedelta(hours=ended) if ended else None,
        slurry_volume_l=float(f"{slurry_l:.4g}"),
        settled_height_mm=round(entry["bed_height_mm"] * entry["compression_factor"], 1),
        cycles=cycles,
        pulse_tests=_pulse_tests(entry, cycles, packed_at, volume_l * 1e3),
        truth=Truth(**entry["truth"]),
        changes=tuple(Change(**change) for change in entry.get("changes", ())),
        events=_events(entry["key"], cycles, shelf),
    )


def load_plant(folder: Path, *, today: date) -> Plant:
    """Read the scenario, with its dates counted back from today.

    Parameters
    ----------
    folder : Path
        Folder with plant.toml, step_plans.toml, packings.toml, and columns, resins, lots and events in CSV.
    today : date
        Everything has happened before this day began (UTC).

    Raises
    ------
    KeyError, TypeError
        If a scenario file lacks something or has a field that is not known.
    """
    head = tomllib.loads((folder / "plant.toml").read_text(encoding="utf-8"))
    columns = tuple(PlantColumn(**_typed(row)) for row in _table(folder / "columns.csv"))
    resins = tuple(PlantResin(**_typed(row)) for row in _table(folder / "resins.csv"))
    plans = tomllib.loads((folder / "step_plans.toml").read_text(encoding="utf-8"))
    step_plans = tuple(_step_plan(entry) for entry in plans["step_plan"])
    lots = _lots(folder, today)
    shelf = _Shelf(
        seed=head["seed"],
        midnight=datetime.combine(today, time(), tzinfo=UTC),
        operators=tuple(head["operators"]),
        columns={column.name: column for column in columns},
        resins={resin.name: resin for resin in resins},
        lots={lot.lot_number: lot for lot in lots},
        step_plans={plan.name: plan for plan in step_plans},
        events=tuple(_table(folder / "events.csv")),
    )
    packings = tomllib.loads((folder / "packings.toml").read_text(encoding="utf-8"))
    return Plant(
        name=head["name"],
        note=head["note"],
        seed=head["seed"],
        operators=shelf.operators,
        columns=columns,
        resins=resins,
        lots=lots,
        step_plans=step_plans,
        packings=tuple(_packing(entry, shelf) for entry in packings["packing"]),
    )
