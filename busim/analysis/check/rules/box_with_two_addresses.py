"""One box that is to have two addresses."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    first: dict[str, tuple[str, str]] = {}
    for path, one in survey.converters.values():
        if one.box is None:
            continue
        host, other = first.setdefault(one.box, (one.host, path))
        if host != one.host:
            yield Spot(
                f"{path}.endpoint",
                f"box {one.box!r} is to have two addresses",
                f"{one.host} here, {host} at {survey.row(f'{other}.endpoint')}",
                "one address, with a port number for each of its lines",
            )


RULE = Rule(
    id="box-with-two-addresses",
    title="One box that is to have two addresses",
    severity="error",
    area="addresses",
    explanation="The ports of one box share its network socket and its address; the one that is set last wins, and "
    "the lines at the other address are not to be reached.",
    source="common practice, no source",
    advice="Write the address of the box at each of its ports, or name another box.",
    find=_find,
    bad=(
        ("  - name: boulder box\n", "  - name: boulder box\n    box: hall rack\n    box_port: 1\n"),
        (
            "  - name: speed box\n    endpoint: ",
            "  - name: speed box\n    box: hall rack\n    box_port: 2\n    endpoint: «",
        ),
    ),
    good=(
        ("  - name: boulder box\n", "  - name: boulder box\n    box: hall rack\n    box_port: 1\n"),
        ("  - name: speed box\n", "  - name: speed box\n    box: speed rack\n    box_port: 2\n"),
    ),
)
