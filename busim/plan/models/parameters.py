"""The parameters of a model file, with defaults by kind, and one parameter for each value of each hue sector."""

from __future__ import annotations

from dataclasses import replace

from busim.foundation.schema import Notebook
from busim.plan.models.model import Parameter
from busim.plan.models.shapes import MOST_PARAMETERS, ModelShape, ParameterShape

HIGHEST = 65535


def parameters(shape: ModelShape, notes: Notebook) -> dict[str, Parameter]:
    """All parameters by name, sector values last. Mistakes go to `notes`."""
    found = {
        name: _parameter(notes.below("parameters", name), name, entry, notes)
        for name, entry in shape.parameters.items()
    }
    sectors = shape.hue_sectors
    if sectors is None:
        return found
    for number in range(1, sectors.number + 1):
        for value, entry in sectors.each.items():
            name, field = f"sector_{number}_{value}", notes.below("hue_sectors.each", value)
            if name in found:
                notes.note(
                    notes.below("parameters", name),
                    "duplicate-name",
                    "a hue sector already has a parameter of this name",
                    at_key=True,
                    expected="a name of its own",
                    mend="rename it",
                )
            first = found.get(f"sector_1_{value}")  # each mistake once, not once per sector
            found[name] = (
                _parameter(field, name, entry, notes, meaning=f"sector_{value}")
                if first is None
                else replace(first, name=name)
            )
    if len(found) > MOST_PARAMETERS:
        notes.note("parameters", "out-of-bounds", "too many parameters", expected=f"at most {MOST_PARAMETERS}")
    return found


def _parameter(field: str, name: str, entry: ParameterShape, notes: Notebook, meaning: str = "") -> Parameter:
    kind, low = entry.kind, entry.low
    choices = tuple(entry.choices or ())
    if (kind == "choice") != bool(choices):
        what = "only a choice has choices" if choices else "a choice without choices"
        notes.note(f"{field}.choices", "bad-choices", what, expected="`kind: choice` and `choices`, or neither")
        choices = choices or ("", "")
    if len(set(choices)) != len(choices):
        notes.note(f"{field}.choices", "bad-choices", "one word is in `choices` twice", expected="different words")
    end = {"switch": 1, "choice": low + len(choices) - 1}.get(kind, HIGHEST)
    high = end if entry.high is None else entry.high
    if kind in ("switch", "choice") and (high != end or end > HIGHEST or low > end):
        notes.note(
            f"{field}.{'high' if entry.high is not None else 'low'}",
            "out-of-bounds",
            f"this {kind} cannot end here",
            found=str(high),
            expected=str(end),
            mend="leave it out",
        )
    elif high < low:
        notes.note(f"{field}.high", "out-of-bounds", "less than `low`", found=str(high), expected=f"{low} or more")
    default = low if entry.default is None else entry.default
    if not low <= default <= high:
        notes.note(
            f"{field}.default", "out-of-bounds", "not within its range", found=str(default), expected=f"{low} to {high}"
        )
    return Parameter(
        name=name,
        meaning=entry.meaning or meaning or name,
        group=entry.group,
        kind=kind,
        low=low,
        high=high,
        default=default,
        unit=entry.unit or "",
        scale=float(entry.scale),
        writable=kind != "reading",
        choices=choices,
        step=entry.step,
        saved=entry.saved and kind != "reading",
    )
