"""The sentence on top of Columns, and where a bed stands in the list."""

from __future__ import annotations

from dataclasses import replace

from tests.browser import sample

from beadline.features.overview.service import bed, lines


def test_a_bed_whose_newest_cycle_stands_alone_is_not_called_within_limits():
    calm = replace(sample.line(worn=False), name="Knot")
    odd = replace(calm, name="Dunlin", kind="watch", sentence="Cycle 58 is far from the baseline.")
    said = lines.lede([odd, calm])
    assert said.lead == "No bed is past its action limit."
    assert "The newest cycle of Dunlin stands alone, far from the baseline: check its trace." in said.rest
    assert "1 of 2 is within limits" in said.rest
    assert lines.lede([calm]).lead == "No bed needs you today."


def test_a_lone_odd_cycle_is_not_said_to_be_anything_but_the_bed():
    assert bed._lead(["odd_cycle", "probe_gain"]) == "Check the newest cycle: it may be the bed."
    assert bed._lead(["probe_gain"]) == "Not the bed."
