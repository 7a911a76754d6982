"""A control on two panels that no poll reads back."""

from __future__ import annotations

from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey


def _find(survey: Survey) -> Spots:
    first: dict[tuple[str, str], str] = {}
    for number, panel in enumerate(survey.plan.panels):
        for place, control in enumerate(panel.controls):
            shared = [name for name in panel.cameras if (name, control) in first]
            unread = [name for name in shared if not survey.polls(name, control)]
            if unread:
                other = first[unread[0], control]
                yield Spot(
                    f"panels[{number}].controls[{place}]",
                    f"panels {other!r} and {panel.name!r} both move {control!r}, and no poll reads it back",
                    f"camera {unread[0]!r}" + (f" and {len(unread) - 1} more" if len(unread) > 1 else ""),
                    f"{control!r} in a poll group",
                )
            for name in panel.cameras:
                first.setdefault((name, control), panel.name)


RULE = Rule(
    id="shared-control-not-polled",
    title="A control on two panels that no poll reads back",
    severity="warning",
    area="masters",
    explanation="One operator never sees a value that the other sets. When somebody touches the second panel, the "
    "value jumps back, on air.",
    source="common practice, no source",
    advice="Poll the value, and poll it fast if operators watch it.",
    find=_find,
    bad=(
        ("controls: [iris, master_black]", "controls: [iris, master_black, red_gain]"),
        (
            "    moves: 1 /s\n",
            "    moves: 1 /s\n"
            "  - {name: side table, master: controller, cameras: [speed start], controls: [«red_gain], moves: 1 /s}\n",
        ),
    ),
    good=(
        (
            "    moves: 1 /s\n",
            "    moves: 1 /s\n"
            "  - {name: side table, master: controller, cameras: [speed start], controls: [iris], moves: 1 /s}\n",
        ),
    ),
)
