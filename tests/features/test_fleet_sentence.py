"""The sentence on top of Columns, and where a bed stands in the list."""

from __future__ import annotations

from dataclasses import replace

from tests.browser import sample

from beadline.boundary import templates
from beadline.features.overview.service import bed, lines


def test_a_bed_whose_newest_cycle_stands_alone_is_not_called_within_limits():
    calm = replace(sample.line(worn=False), name="Knot")
    odd = replace(calm, name="Dunlin", kind="watch", sentence="Cycle 58 is far from the baseline.")
    said = lines.lede([odd, calm])
    assert said.lead == "No bed is past its action limit."
    assert "The newest cycle of Dunlin stands alone, far from the baseline: check its trace." in said.rest
    assert "1 of 2 is within limits" in said.rest
    assert lines.lede([calm]).lead == "No bed needs you today."


def test_of_many_beds_only_the_first_are_named():
    drifting = [replace(sample.line(), name=f"Knot {n}", condition="drifting") for n in range(1, 8)]
    assert lines.lede(drifting[:6]).rest == "Knot 1, Knot 2, Knot 3, Knot 4, Knot 5 and Knot 6 are drifting."
    assert lines.lede(drifting).rest == "Knot 1, Knot 2, Knot 3, Knot 4, Knot 5 and 2 more are drifting."


def test_a_row_that_is_remembered_is_written_anew_when_its_bed_changes():
    worn = sample.line()
    first = templates.remembered("overview/bed_row.html", "bed_row", worn, 1, 240)
    assert "of 150" in first and "HETP is up since about cycle 25." in first
    repaired = replace(worn, condition="in control", kind="ok", open_alert_id=None)
    assert "HETP is up" not in templates.remembered("overview/bed_row.html", "bed_row", repaired, 1, 240)
    assert templates.remembered("overview/bed_row.html", "bed_row", sample.line(), 1, 240) == first


def test_a_name_in_a_remembered_row_is_text_never_markup():
    named = replace(sample.line(), name="<b>Knot</b>")
    assert "&lt;b&gt;Knot" in templates.remembered("overview/bed_row.html", "bed_row", named, 1, 240)


def test_a_lone_odd_cycle_is_not_said_to_be_anything_but_the_bed():
    assert bed._lead(["odd_cycle", "probe_gain"]) == "Check the newest cycle: it may be the bed."
    assert bed._lead(["probe_gain"]) == "Not the bed."
