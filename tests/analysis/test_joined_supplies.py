"""Several supplies on one supply pair: joined ones, those that a cut separates, and cameras with their own supply.

That joined supplies push current into each other is common practice, no source.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET

from busim.analysis.check import SOUND, Survey, check, edited
from busim.commissioning.sheet import html, sheet
from busim.installation import outline
from busim.plan import Plan, read_text

SVG = "{http://www.w3.org/2000/svg}"


def hall(volts: str, at_mats: str = "joined", at_right: str = "joined") -> Plan:
    """The sound plan, with a second supply at the last camera of the boulder line."""
    return read_text(
        edited(
            (
                ("    baud: 38400 Bd\n", "    baud: 38400 Bd\n    cable: {supply_gauge: AWG 6}\n"),
                ("    fuse: 5 A\n", "    fuse: 5 A\n    at: boulder box\n"),
                ("boulder right, boulder mats]\n  - name: speed", "boulder right]\n  - name: speed"),
                ("boulder mats, after: 14 m}", f"boulder mats, after: 14 m, supply_pair: {at_mats}}}"),
                ("boulder right, after: 9 m,", f"boulder right, after: 9 m, supply_pair: {at_right},"),
                (
                    "  - name: speed supply",
                    f"  - {{name: mats supply, voltage: {volts}, limit: 30 W, fuse: 2 A, at: boulder mats, "
                    "feeds: [boulder mats]}\n  - name: speed supply",
                ),
            )
        ),
        "plan.yaml",
    )


def codes(plan: Plan) -> list[str]:
    return [one.code for one in check(plan).findings]


def test_joined_at_different_voltages_is_an_error_that_says_what_the_weaker_camera_bears() -> None:
    (error,) = [one for one in check(hall("15 V")).findings if one.severity == "error"]
    assert error.code == "supplies-joined-unequal"
    assert "'boulder supply' and 'mats supply'" in error.what
    assert "'boulder left' may get 15 V; it bears at most 16 V (its model): within it" in (error.found or "")
    (error,) = [one for one in check(hall("24 V")).findings if one.code == "supplies-joined-unequal"]
    assert "too much for it" in (error.found or "")


def test_joined_at_one_voltage_is_a_warning_and_cut_apart_it_is_nothing() -> None:
    assert codes(hall("13.8 V")) == ["supplies-joined"]
    assert codes(hall("13.8 V", "cut")) == []
    assert codes(hall("12 V", "cut")) == []


def test_a_camera_with_a_supply_of_its_own_has_its_voltage_and_the_pair_goes_past_it() -> None:
    feeds = {feed.supply.name: feed for feed in Survey(outline(hall("12 V", "past"))).feeds}
    assert list(feeds["mats supply"].at_loads("idle")) == ["boulder mats"]
    assert codes(hall("12 V", "past")) == []


def test_loads_behind_a_cut_get_no_power_from_before_it() -> None:
    assert "load-off-the-pair" in codes(hall("13.8 V", "joined", "cut"))


def test_a_line_drawn_on_the_sheet_shows_the_supply_pair_where_it_is_joined_cut_or_goes_past() -> None:
    def drawn(plan: Plan) -> tuple[int, str]:
        root = ET.fromstring(html(sheet(plan, version="0", date="2030-01-02"), parts=["lines"]))
        picture = root.findall(f".//{SVG}svg")[0]
        return len(picture.findall(f"{SVG}polyline")), " ".join(one.text or "" for one in picture.iter(f"{SVG}text"))

    assert drawn(read_text(SOUND))[0] == 0
    assert "ERROR: JOINED" in drawn(hall("15 V"))[1]
    assert "PAST" in drawn(hall("12 V", "past"))[1]
    assert "CUT" in drawn(hall("12 V", "cut"))[1]
    assert drawn(hall("12 V", "cut"))[0] == 4  # to each station but the first, and one behind the cut
