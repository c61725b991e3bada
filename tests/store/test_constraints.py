"""Limits live in the database too: a row that can't be right is refused whoever writes it."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
from sqlalchemy import CheckConstraint, Connection, Engine, UniqueConstraint
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session
from tests import builders
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.store.base import Base
from beadline.store.tables import (
    CampaignReview,
    NoticeRoute,
    PlannedCampaign,
    Recomputation,
    RecomputedCycle,
    ReviewChecks,
)

pytestmark = pytest.mark.every_dialect

# one row of each table that has checks, changed so that one check must fire, which is named
WRONG: list[tuple[str, dict[str, Any], str]] = [
    ("columns", {"inner_diameter_mm": 0}, "diameter_possible"),
    ("columns", {"inner_diameter_mm": 3001}, "diameter_possible"),
    ("columns", {"pressure_rating_kpa": 0}, "rating_positive"),
    ("columns", {"hold_up_ml": -1}, "hold_up_not_negative"),
    ("columns", {"kind": "bucket"}, "known_kind"),
    ("resins", {"bead_diameter_um": 0}, "beads_possible"),
    ("resins", {"bead_diameter_um": 2000}, "beads_possible"),
    ("resins", {"cycle_limit": 0}, "cycle_limit_positive"),
    ("resins", {"chemistry": "magic"}, "known_chemistry"),
    ("packings", {"bed_height_mm": 0}, "height_possible"),
    ("packings", {"bed_height_mm": 3001}, "height_possible"),
    ("packings", {"unpacked_at": "2024-01-01 00:00:00+00:00"}, "unpacked_after_packed"),
    ("packings", {"cycle_limit": 0}, "cycle_limit_positive"),
    ("packings", {"slurry_percent": 101}, "slurry_possible"),
    ("packings", {"compression_factor": 0.9}, "compression_possible"),
    ("packings", {"settled_height_mm": 0}, "settled_height_mm_possible"),
    ("packings", {"consolidated_height_mm": -1}, "consolidated_height_mm_possible"),
    ("packings", {"packed_in": "milk"}, "packed_in_known"),
    ("packings", {"packed_by": "magic"}, "packed_by_known"),
    ("users", {"role": "owner"}, "known_role"),
    ("users", {"provider_issuer": "https://id.example.org"}, "bound_whole"),
    ("cycles", {"number": 0}, "number_positive"),
    ("cycles", {"came_by": "post"}, "known_way"),
    ("cycles", {"void_reason": "wrong file"}, "void_has_reason"),
    ("cycles", {"voided_at": "2031-01-01 00:00:00+00:00"}, "void_has_reason"),
    ("judgements", {"verdict": "fine"}, "known_verdict"),
    ("alerts", {"level": "panic"}, "known_level"),
    ("alerts", {"status": "forgotten"}, "known_status"),
    ("pulse_tests", {"verdict": "fine"}, "known_verdict"),
    ("cycles", {"excluded_reason": "probe swapped"}, "exclusion_has_reason"),
    ("baselines", {"signed_at": "2031-01-01 00:00:00+00:00"}, "signature_has_hash"),
    ("planned_campaigns", {"cycles": 0}, "cycles_possible"),
    ("planned_campaigns", {"called_off_reason": "x"}, "calling_off_has_reason"),
    ("review_checks", {"reason": ""}, "has_reason"),
    ("campaign_reviews", {"cycles_planned": 0}, "cycles_possible"),
    ("campaign_reviews", {"cycles_planned": 601}, "cycles_possible"),
    ("campaign_reviews", {"state": "forgotten", "decision": "use", "reason": "x"}, "known_state"),
    ("campaign_reviews", {"state": "approved"}, "decided_means_decision"),
    ("campaign_reviews", {"reason": "why not"}, "decision_has_reason"),
    ("notice_routes", {"kind": "pigeon"}, "known_kind"),
    ("notice_routes", {"least_level": "panic"}, "known_level"),
    ("notice_routes", {"digest_minute": 1440}, "digest_in_a_day"),
    ("notice_routes", {"quiet_from_minute": -1, "quiet_until_minute": 1}, "quiet_from_in_a_day"),
    ("notice_routes", {"quiet_from_minute": 1, "quiet_until_minute": 1440}, "quiet_until_in_a_day"),
    ("notice_routes", {"quiet_from_minute": 60}, "quiet_has_both_ends"),
    ("notice_routes", {"escalate_after_minutes": 60}, "escalation_is_whole"),
    ("notice_routes", {"escalate_after_minutes": 0, "escalate_to_id": 1}, "escalation_takes_time"),
    ("recomputations", {"state": "lost", "ended_at": "2031-01-01 00:00:00+00:00"}, "known_state"),
    ("recomputations", {"state": "finished"}, "ended_has_a_time"),
    ("recomputations", {"reason": ""}, "has_reason"),
    ("recomputed_cycles", {"outcome": "lost"}, "known_outcome"),
    ("recomputed_cycles", {"why": "harmed"}, "skipped_has_reason"),
    ("notices", {"event": "forgotten"}, "known_event"),
    ("notices", {"event": "test"}, "only_tests_lack_an_alert"),
    ("notices", {"level": "panic"}, "known_level"),
    ("notices", {"state": "lost"}, "known_state"),
    ("notices", {"state": "sent"}, "sent_has_a_time"),
    ("bed_events", {"kind": "shaken"}, "known_kind"),
    ("bed_events", {"after_cycle": -1}, "after_cycle_possible"),
    ("bed_events", {"kind": "other work"}, "other_work_is_named"),
    ("bed_events", {"void_reason": "wrong bed"}, "void_has_reason"),
]


def names_of(kind: type[Any]) -> set[tuple[str, str]]:
    tables = Base.metadata.tables.values()
    return {(t.name, str(c.name)) for t in tables for c in t.constraints if isinstance(c, kind)}


def test_every_check_has_a_row_that_it_refuses():
    tried = {(table, f"ck_{table}_{check}") for table, _, check in WRONG}
    assert tried == names_of(CheckConstraint)


def test_every_constraint_is_named_by_the_convention():
    for table in Base.metadata.tables.values():
        for constraint in table.constraints:
            assert str(constraint.name).split("_")[0] in ("pk", "fk", "uq", "ck")
            assert table.name in str(constraint.name)


@pytest.fixture
def full(life: Site) -> Engine:
    """A database with at least one row in each table that has checks."""
    with life.writing() as session:
        session.add(
            NoticeRoute(
                name="shift", kind="email", target="shift@example.org", least_level="alert", zone="UTC"
            )
        )
        session.add(
            CampaignReview(
                packing_id=1,
                product="Polish",
                cycles_planned=20,
                starts_on=date(2031, 1, 1),
                content={},
                sentence="",
                proposal="use",
                state="draft",
                made_at=datetime(2030, 12, 1, tzinfo=UTC),
                made_by_id=1,
            )
        )
        session.add(
            PlannedCampaign(
                packing_id=1,
                product="Polish",
                cycles=20,
                starts_on=date(2031, 1, 1),
                made_by_id=1,
                made_at=datetime(2030, 12, 1, tzinfo=UTC),
            )
        )
        session.add(
            ReviewChecks(
                left_out=["pool"], reason="SOP 7", made_by_id=1, made_at=datetime(2030, 12, 1, tzinfo=UTC)
            )
        )
        order = Recomputation(
            reason="Tails",
            method="fitted front",
            method_version="2",
            started_at=datetime(2030, 12, 1, tzinfo=UTC),
            started_by_id=1,
        )
        session.add(order)
        session.flush()
        session.add(
            RecomputedCycle(recomputation_id=order.id, cycle_id=1, outcome="unchanged", conditions={})
        )
    credentials = bearer(life.token("operator"))
    for number in (21, 22):
        life.post_run(builders.make_cycle_file(PLOVER, number), credentials=credentials)
    pulse = builders.make_pulse_file(PLOVER)
    form = {"packing": "1", "injection_ml": "16", "performed_at": "2025-01-06T12:00", "tracer": "salt"}
    life.visitor("engineer").post("/pulse-tests", form, file=(pulse.filename, pulse.content))
    life.visitor("operator").post(
        "/packings/1/events", {"kind": "sanitised", "happened_at": "2025-01-20T12:00"}
    )
    return life.engine


def change(connection: Connection, table: str, values: dict[str, Any]) -> None:
    said = ", ".join(f"{name} = {value!r}" for name, value in values.items())
    connection.exec_driver_sql(f"update {table} set {said} where id = (select min(id) from {table})")


def test_the_database_refuses_what_can_not_be_right(full: Engine):
    for table, values, check in WRONG:
        with full.connect() as connection, pytest.raises(IntegrityError, match=f"ck_{table}_{check}"):
            change(connection, table, values)
            raise AssertionError(f"{table}: {values} was taken")


@pytest.mark.parametrize(
    ("table", "columns"),
    [
        ("users", "name"),
        ("columns", "asset_tag"),
        ("columns", "name"),
        ("resins", "name"),
        ("resin_lots", "lot_number"),
        ("traces", "sha256"),
        ("records", "previous_sha256"),
    ],
)
def test_what_names_a_thing_is_unique(table: str, columns: str):
    constraints = Base.metadata.tables[table].constraints
    unique = [[column.name for column in c.columns] for c in constraints if isinstance(c, UniqueConstraint)]
    assert [columns] in unique


def test_a_cycle_number_is_free_again_only_when_its_run_is_voided(life: Site):
    with Session(life.engine) as session:
        connection = session.connection()
        with pytest.raises(IntegrityError), connection.begin_nested():
            connection.exec_driver_sql("update cycles set number = 2 where number = 1")
        voided = "voided_at = '2031-01-01 00:00:00+00:00', void_reason = 'wrong file'"
        connection.exec_driver_sql(f"update cycles set {voided} where number = 2")
        connection.exec_driver_sql("update cycles set number = 2 where number = 1")
        session.rollback()
