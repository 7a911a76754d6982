"""Two converters on one port of one box."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    first: dict[tuple[str, int], str] = {}
    for path, one in survey.converters.values():
        if one.box is None or one.box_port is None:
            continue
        place = one.box, one.box_port
        if place in first:
            yield Spot(
                f"{path}.box_port",
                f"another line already uses port {one.box_port} of box {one.box!r}",
                f"converter {one.name!r} here, another at {survey.row(f'{first[place]}.box_port')}",
                "a port of its own for each line",
            )
        first.setdefault(place, path)


RULE = Rule(
    id="same-box-port",
    title="Two lines on one port of a box",
    severity="error",
    area="addresses",
    explanation="A port has one pair of terminals. Two lines on the same terminals become one line, with four "
    "terminators, a star at the box, and every bus ID twice.",
    source="common practice, no source",
    advice="Give one of the two lines a free port.",
    find=_find,
    hands_on=True,
    bad=(
        ("  - name: boulder box\n", "  - name: boulder box\n    box: hall rack\n    box_port: 1\n"),
        ("  - name: speed box\n", "  - name: speed box\n    box: hall rack\n    box_port: «1\n"),
        ("198.51.100.45:15001", "198.51.100.44:15002"),
    ),
    good=(
        ("  - name: boulder box\n", "  - name: boulder box\n    box: hall rack\n    box_port: 1\n"),
        ("  - name: speed box\n", "  - name: speed box\n    box: hall rack\n    box_port: 2\n"),
        ("198.51.100.45:15001", "198.51.100.44:15002"),
    ),
)
