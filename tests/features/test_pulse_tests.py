"""Pulse tests: what qualifies a bed; a test is stored with its criteria, its verdict and its working."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from sqlalchemy.orm import Session
from tests import builders
from tests.builders import PACKED, a_bed, make_pulse_file
from tests.sites import PLOVER

from beadline.demo import lives
from beadline.features.drift import service as drift
from beadline.features.packings import service as packings
from beadline.features.pulse_tests import queries
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.pulse_tests.schemas import TestFacts
from beadline.kit import clock
from beadline.kit.errors import Conflict, Invalid, NotFound
from beadline.science import bed_model
from beadline.store.tables import Packing, PulseTest, User

NOW = clock.now()
FACTS = TestFacts(performed_at=PACKED + timedelta(hours=3), injection_ml=16.0, tracer="salt")


@pytest.fixture
def bed(session: Session, people: dict[str, User]) -> Packing:
    return builders.make_packing(session, PLOVER, by=people["engineer"])


def log(
    session: Session, bed: Packing, by: User, content: bytes = b"", facts: TestFacts = FACTS
) -> PulseTest:
    file = make_pulse_file(PLOVER)
    return pulse_tests.log(
        session,
        packing=bed,
        content=content or file.content,
        filename=file.filename,
        facts=facts,
        by=by,
        at=NOW,
    )


def test_a_good_bed_passes_and_is_qualified(session: Session, bed: Packing, people: dict[str, User]):
    assert drift.condition_of(bed, None, None) == "not qualified"
    test = log(session, bed, people["operator"])
    assert test.verdict == "pass", test.checks
    assert test.logged_by_id == people["operator"].id
    assert drift.condition_of(bed, None, test) == "learning baseline"


def test_a_cracked_bed_fails_and_says_which_criterion(
    session: Session, bed: Packing, people: dict[str, User]
):
    cracked = make_pulse_file(a_bed("Plover", changes=builders.CRACK), after_cycle=builders.HEALTHY + 1)
    test = log(session, bed, people["operator"], cracked.content)
    assert test.verdict == "fail"
    assert [check["sentence"] for check in test.checks if not check["ok"]]
    assert drift.condition_of(bed, None, test) == "not qualified"


def test_plate_height_and_retention_are_those_of_the_bed_model(
    session: Session, bed: Packing, people: dict[str, User]
):
    """Moments of the model's own pulse response on a fine grid: within 10 % and 1 %."""
    test = log(session, bed, people["operator"])
    state = lives.state_at(PLOVER, 0, seed=builders.SEED)
    grid = np.arange(0.0, 3.0, 0.0005)
    peak = bed_model.pulse_response(
        grid,
        lives.bed_of(PLOVER, state),
        run=bed_model.Run(velocity_m_s=60 / 360000, temperature_k=state.temperature_k),
        injected_cv=16.0e-6 / PLOVER.bed_volume_m3,
        lag_cv=state.truth.probe_lag_cv,
    )
    hold_up = PLOVER.column.hold_up_ml * 1e-6 / PLOVER.bed_volume_m3
    mean = np.trapezoid(grid * peak, grid) / np.trapezoid(peak, grid)
    variance = np.trapezoid((grid - mean) ** 2 * peak, grid) / np.trapezoid(peak, grid)
    height = PLOVER.bed_height_mm * 1e-3
    assert test.estimates["retention_cv"][0] == pytest.approx(mean - hold_up, rel=0.02)
    assert test.estimates["hetp_moments"][0] == pytest.approx(
        height * variance / (mean - hold_up) ** 2, rel=0.10
    )


def test_a_result_is_stored_with_method_criteria_and_trace(
    session: Session, bed: Packing, people: dict[str, User]
):
    test = log(session, bed, people["operator"])
    assert test.method
    assert test.method_version
    assert test.criteria
    again = pulse_tests.read_again(session, pulse_tests.get(session, test.id), bed)
    assert {name: e.value for name, e in again.result.estimates.items()} == {
        name: pair[0] for name, pair in test.estimates.items()
    }


def test_the_same_file_qualifies_a_bed_once(session: Session, bed: Packing, people: dict[str, User]):
    log(session, bed, people["operator"])
    with pytest.raises(Conflict, match="recorded as a pulse test of this bed already"):
        log(session, bed, people["operator"])


@pytest.mark.parametrize("injection_ml", [0.0, -1.0, 5000.0])
def test_an_injection_that_can_not_be_is_refused(
    session: Session, bed: Packing, people: dict[str, User], injection_ml: float
):
    facts = TestFacts(performed_at=PACKED, injection_ml=injection_ml)
    with pytest.raises(Invalid, match="can't be right for this bed"):
        log(session, bed, people["operator"], facts=facts)


def test_a_trace_without_a_tracer_signal_is_refused(session: Session, bed: Packing, people: dict[str, User]):
    content = b"Volume [mL],Pressure before column [bar]\n" + b"".join(b"%d,0.5\n" % i for i in range(200))
    with pytest.raises(Invalid, match="neither conductivity nor UV"):
        log(session, bed, people["operator"], content)


@pytest.mark.parametrize("litres", [0.0005, 5000.0])
def test_a_volume_that_no_test_of_this_bed_has_is_refused(
    session: Session, bed: Packing, people: dict[str, User], litres: float
):
    rows = "".join(f"{litres * i / 60:.6f},{np.exp(-(((i - 20) / 3) ** 2)):.4f}\n" for i in range(61))
    content = ("Volume (L),Cond (mS/cm)\n" + rows).encode()
    with pytest.raises(Invalid, match="bed volumes of this bed; a pulse test takes some 1 to 3"):
        log(session, bed, people["operator"], content)
    assert queries.of_packing(session, bed.id) == []


def test_a_voided_test_qualifies_nothing_and_stays(session: Session, bed: Packing, people: dict[str, User]):
    test = log(session, bed, people["operator"])
    with pytest.raises(Invalid, match="A reason is missing"):
        pulse_tests.void(session, test, reason=" ", by=people["engineer"], at=NOW)
    pulse_tests.void(session, test, reason="Tracer valve leaked", by=people["engineer"], at=NOW)
    session.flush()
    assert queries.newest_of_packings(session, [bed.id]) == {}
    assert pulse_tests.get(session, test.id).void_reason == "Tracer valve leaked"
    with pytest.raises(Conflict, match="voided before"):
        pulse_tests.void(session, test, reason="again", by=people["engineer"], at=NOW)


def test_a_bed_is_what_people_decided_first_then_what_degrades_it_most(
    session: Session, bed: Packing, people: dict[str, User]
):
    test = log(session, bed, people["operator"])
    packings.hold(session, bed, why="Waiting for the frit", by=people["engineer"], at=NOW)
    assert drift.condition_of(bed, None, test) == "on hold"
    packings.release(session, bed, why="Frit changed", by=people["engineer"], at=NOW)
    assert drift.condition_of(bed, None, test) == "learning baseline"
    packings.unpack(session, bed, unpacked_at=NOW, by=people["engineer"], at=NOW)
    assert drift.condition_of(bed, None, test) == "retired"


def test_an_unknown_test_is_not_found(session: Session):
    with pytest.raises(NotFound):
        pulse_tests.get(session, 99)
