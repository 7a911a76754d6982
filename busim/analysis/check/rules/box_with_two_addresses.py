"""One box with two addresses in the plan."""

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
                f"box {one.box!r} has two addresses in the plan",
                f"{one.host} here, {host} at {survey.row(f'{other}.endpoint')}",
                "one address, and a port number for each line",
            )


RULE = Rule(
    id="box-with-two-addresses",
    title="One box with two addresses in the plan",
    severity="error",
    area="addresses",
    explanation="The ports of one box share its network socket and its address. The address that is set last wins, and "
    "lines at the other address cannot be reached.",
    source="common practice, no source",
    advice="Write the same address at each port of the box, or name another box.",
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
