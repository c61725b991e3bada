"""The table of evidence ranks what moved as a column specialist would."""

from __future__ import annotations

import pytest

from beadline.science import causes

# Patterns and their usual cause: common practice, no source.
PATTERNS = [
    ({"a/early_foot": 8.0, "a/hetp_moments": 4.0, "a/asymmetry": -3.0}, "channel"),
    ({"a/late_tail": 8.0, "a/hetp_moments": 4.0, "a/asymmetry": 4.0}, "wall_void"),
    ({"a/hetp_moments": 6.0, "a/hetp_width": 6.0, "a/asymmetry": 4.0, "a/late_tail": 2.0}, "gap"),
    ({"pressure_drop_pa": 6.0, "a/mean_cv": -5.0}, "compression"),
    ({"pressure_drop_pa": 6.0, "a/hetp_moments": 3.0, "a/late_tail": 2.0}, "fouling"),
    ({"pressure_drop_pa": -5.0, "a/mean_cv": -6.0}, "resin_loss"),
    ({"flow_m3_s": 6.0, "pressure_drop_pa": 2.0, "a/mean_cv": 3.0}, "flow_meter"),
    (
        {"a/step_height": -6.0, "a/plateau_after": -6.0, "b/step_height": 0.0, "b/plateau_after": 0.0},
        "buffer",
    ),
    ({"a/asymmetry": -6.0, "a/early_foot": 3.0, "a/hetp_moments": 0.0}, "ion_exclusion"),
]


@pytest.mark.parametrize(("evidence", "code"), PATTERNS)
def test_the_usual_cause_comes_first(evidence, code):
    assert causes.rank(evidence)[0].code == code


@pytest.mark.parametrize(("evidence", "code"), PATTERNS)
def test_a_larger_shift_does_not_change_the_first_cause(evidence, code):
    assert causes.rank({key: 1.5 * size for key, size in evidence.items()})[0].code == code


def test_every_cause_says_how_to_check_cure_and_where_it_is_from():
    for cause in causes.CAUSES.values():
        assert all((cause.name, cause.moves, cause.check, cause.cure, cause.source))
        assert all(-1 <= weight <= 1 for weight in cause.moves.values())


def test_nothing_moved_has_no_cause():
    assert causes.rank({}) == ()
    assert causes.rank({"a/hetp_moments": 0.01}) == ()


def test_what_speaks_against_a_cause_is_said():
    found = {c.code: c for c in causes.rank({"a/early_foot": 6.0, "a/asymmetry": 5.0, "a/hetp_moments": 4.0})}
    assert "asymmetry" in found["channel"].against
    assert "front" in found["channel"].because


def test_unknown_metrics_and_missing_numbers_are_passed_over():
    with_more = {"a/early_foot": 6.0, "a/unheard_of": 50.0, "b/early_foot": float("nan")}
    assert causes.rank(with_more) == causes.rank({"a/early_foot": 6.0})
