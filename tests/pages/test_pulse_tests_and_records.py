"""Log a pulse test, see it, void it; find it in the records, get its file back."""

from __future__ import annotations

import csv
import hashlib
import io
import math
from itertools import pairwise

from sqlalchemy import text
from sqlalchemy.orm import Session
from tests.pages.conftest import Visitor
from tests.pages.test_library_and_packings import PACKING, fill_the_library

FACTS = {"packing": "1", "performed_at": "2025-03-13T10:00", "injection_ml": "64", "tracer": "salt"}


def peak(*, mean_l: float = 5.5, spread_l: float = 0.16, noise: float = 0.0) -> bytes:
    """A Gaussian peak: N = (mean / spread)^2, so its plates are known."""
    lines = ["Volume [L],Conductivity [mS/cm]"]
    for i in range(1601):
        volume = i / 200
        height = 5 * math.exp(-0.5 * ((volume - mean_l) / spread_l) ** 2) + noise * math.sin(i)
        lines.append(f"{volume:.4f},{2 + height:.5f}")
    return "\n".join(lines).encode()


def log(engineer: Visitor, content: bytes, status: int = 200, **changed: str) -> str:
    return engineer.post("/pulse-tests", FACTS | changed, status, {"file": ("pulse.csv", content)})


def pack(engineer: Visitor) -> None:
    fill_the_library(engineer)
    engineer.post("/packings", PACKING)


def test_a_good_peak_qualifies_the_bed(engineer: Visitor) -> None:
    """The bed is 20.5 cm of 90 µm beads: N = (5.5 / 0.16)^2 = 1182, h = 0.205 / 1182 / 90e-6 = 1.93."""
    pack(engineer)
    page = log(engineer, peak(spread_l=0.25))  # N = 484, h = 4.7
    assert "The bed passes." in page
    assert 'data-module="pulse"' in page
    assert "qualified" in engineer.get("/packings/1")


def test_a_broad_peak_does_not(engineer: Visitor) -> None:
    pack(engineer)
    assert "The bed does not pass." in log(engineer, peak(spread_l=0.45))  # N = 149, h = 15


def test_the_same_file_is_not_logged_twice(engineer: Visitor) -> None:
    pack(engineer)
    log(engineer, peak(spread_l=0.25))
    assert "is recorded as a pulse test of this bed already" in log(engineer, peak(spread_l=0.25), 409)


def test_what_is_missing_is_asked_for(engineer: Visitor) -> None:
    pack(engineer)
    assert "injected volume is missing" in log(engineer, peak(), 422, injection_ml="")
    page = log(engineer, b"not a trace", 422)
    assert "Log a pulse test" in page
    assert 'value="salt"' in page


def test_a_voided_test_stays_visible_and_no_longer_qualifies(engineer: Visitor) -> None:
    pack(engineer)
    log(engineer, peak(spread_l=0.25))
    assert "A reason is missing" in engineer.post("/pulse-tests/1/void", {"reason": ""}, 422)
    page = engineer.post("/pulse-tests/1/void", {"reason": "wrong column"})
    assert "wrong column" in page
    assert "not qualified" in engineer.get("/packings/1")
    engineer.post("/pulse-tests/1/void", {"reason": "again"}, 409)


def test_a_trace_comes_back_byte_for_byte(engineer: Visitor) -> None:
    pack(engineer)
    sent = peak(spread_l=0.25)
    log(engineer, sent)
    answer = engineer.client.get("/traces/1")
    assert answer.content == sent
    assert answer.headers["x-content-sha256"] == hashlib.sha256(sent).hexdigest()
    assert answer.headers["content-disposition"].startswith("attachment")
    engineer.get("/traces/99", 404)


def test_records_are_chosen_exported_and_verified(engineer: Visitor) -> None:
    pack(engineer)
    assert "The whole chain holds." in engineer.get("/records?verify=yes")
    only = engineer.get("/records?thing=packing")
    assert "Recorded packing 1 of Dunlin" in only
    assert "Recorded column Dunlin" not in only
    assert "No record fits" in engineer.get("/records?until=2001-01-01")
    rows = list(csv.DictReader(io.StringIO(engineer.get("/records.csv?user_name=engineer"))))
    assert rows[1]["said"].startswith("Recorded column Dunlin")
    assert all(later["previous_sha256"] == earlier["sha256"] for earlier, later in pairwise(rows))


def test_a_record_altered_behind_our_back_is_found(engineer: Visitor, store: Session) -> None:
    pack(engineer)
    for trigger in (
        store.execute(text("select name from sqlite_master where type = 'trigger'")).scalars().all()
    ):
        store.execute(text(f"drop trigger {trigger}"))
    store.execute(text("update records set said = 'Nothing happened' where id = 5"))
    store.commit()
    page = engineer.get("/records?verify=yes")
    assert "The chain breaks at record 5." in page


def test_a_cell_that_looks_like_a_formula_is_made_harmless(engineer: Visitor) -> None:
    pack(engineer)
    engineer.post("/packings/1/hold", {"reason": "=1+1"})
    assert "'=1+1" in engineer.get("/records.csv")
