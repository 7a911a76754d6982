"""A line that is wired as a star."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.analysis.check.wiring import listed


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        branches = [one for one in wiring.hanging if one.place.stub > 0]
        together = sum(one.place.stub for one in branches)
        if len(branches) > 1 and together > wiring.length:
            yield Spot(
                wiring.name_field,
                f"line {wiring.line.name!r} is wired as a star: its stubs are longer than its cable",
                f"{together:g} m of stubs to {listed([one.name for one in branches])}, {wiring.length:g} m of line "
                "(planned)",
                "one cable from end to end, through every station",
            )


RULE = Rule(
    id="star-wiring",
    title="A line that is wired as a star",
    severity="warning",
    area="cable",
    explanation="An RS-485 line is one cable with two ends. A star has an end at every station, and two terminators "
    "quieten only two of them. It works at low baud on the bench and fails on site, in changing places.",
    source="TI SLLA272 sec. 6 (daisy chain, short stubs); TIA TSB-89-A (from memory)",
    advice="Run the cable from station to station, or give each arm a converter port of its own.",
    find=_find,
    hands_on=True,
    bad=(
        ("  - name: boulder line", "  - name: «boulder line"),
        ("boulder left, after: 18 m, stub: 0.3 m", "boulder left, after: 1 m, stub: 1.5 m"),
        ("boulder right, after: 9 m, stub: 0.3 m", "boulder right, after: 1 m, stub: 1.5 m"),
        ("boulder mats, after: 14 m", "boulder mats, after: 1 m, stub: 1.5 m"),
    ),
    good=(
        ("boulder left, after: 18 m, stub: 0.3 m", "boulder left, after: 18 m, stub: 1 m"),
        ("boulder right, after: 9 m, stub: 0.3 m", "boulder right, after: 9 m, stub: 1 m"),
    ),
)
