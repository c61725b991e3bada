"""The true lives: beds of the bed model whose every run went through the real intake."""

from __future__ import annotations

from dataclasses import dataclass, replace

from tests import builders, sites, visitors
from tests.benchmarks.intake import THREE
from tests.sites import Site

from beadline.demo.plant import PlantPacking
from beadline.demo.truth import Change
from beadline.features.accounts import queries as account_queries
from beadline.store.engine import make_engine, writing_sessions

ILL_FOR = 10  # last cycles of a cracked bed


@dataclass(frozen=True, slots=True)
class Size:
    """How much is made: packings on so many columns, each with so many cycles of 2 or 3 transitions.

    `lives` of them are true, up to 4.
    """

    packings: int = 1000
    columns: int = 500
    cycles: int = 200
    lives: int = 4


def beds_of(size: Size) -> list[PlantPacking]:
    """Two step plans of 2 and 3 transitions, each with a healthy bed and one that cracks near its end."""
    cracks = max(size.cycles - ILL_FOR, 1)
    crack = (Change("fast_velocity", cracks, 1, 1.35), Change("fast_share", cracks, 1, 0.05))
    every = [
        builders.a_bed("Ruff"),
        replace(builders.a_bed("Sanderling", changes=crack), step_plan=THREE),
        replace(builders.a_bed("Turnstone"), step_plan=THREE),
        builders.a_bed("Whimbrel", changes=crack),
    ]
    return every[: size.lives]


def post_lives(url: str, size: Size) -> None:
    """Make the tables, the people and the true lives."""
    sites.fill_people(url)
    beds = beds_of(size)
    engine = make_engine(url)
    with writing_sessions(engine).begin() as session:
        engineer = account_queries.user_named(session, "engineer")
        assert engineer is not None
        for bed in beds:
            builders.make_packing(session, bed, by=engineer)
    engine.dispose()
    site = Site(url)
    credentials = visitors.bearer(site.token("operator"))
    for bed in beds:
        for number in range(1, size.cycles + 1):
            file = builders.make_cycle_file(bed, number)
            answer = site.post_run(file, credentials=credentials, column=bed.column.name)
            assert answer.status_code == 201, answer.text
    site.close()
