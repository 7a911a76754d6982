"""Which times a budget stands on were measured on site, and which are the plan's, a model's or a default."""

from __future__ import annotations

from collections.abc import Iterator

from busim.foundation.units import Spread, show_time
from busim.installation import DEFAULT, MODEL, Installation
from busim.plan import MeasuredPlan

_WORDS = {MODEL: "assumed, from their models", DEFAULT: "assumed, by default"}
_NAMED = 6  # names up to which each is named


def sources(site: Installation) -> tuple[str, ...]:
    """A sentence for each kind of turnaround and packing, and one for each value that differs from its measurement."""
    return (*_turnarounds(site), *_packings(site))


def _turnarounds(site: Installation) -> Iterator[str]:
    kinds: dict[str, list[str]] = {}
    for name, one in site.cameras.items():
        took = one.camera.measured
        found = None if took is None else took.turnaround
        if took is not None and found == one.camera.turnaround:
            kinds.setdefault(_when(took), []).append(name)
            continue
        if took is not None and found is not None:
            yield (
                f"turnaround of {name!r}: {_shown(one.camera.turnaround)} as planned, although {_shown(found)} was "
                f"{_when(took)}"
            )
        origin = site.origin(f"{one.field}.turnaround").kind
        kinds.setdefault(_WORDS.get(origin, "as planned"), []).append(name)
    for kind, names in kinds.items():
        yield f"turnaround of {_names(names, 'camera')}: {kind}"


def _packings(site: Installation) -> Iterator[str]:
    kinds: dict[str, list[str]] = {}
    for name, one in site.converters.items():
        took, idle = one.converter.measured, one.converter.packing_idle
        if took is not None and took.packing == idle:
            kinds.setdefault(_when(took), []).append(name)
            continue
        if took is not None and took.packing is not None:
            told = f"{show_time(idle)} as planned, although {show_time(took.packing)} was {_when(took)}"
            yield f"packing of {name!r}: {told}"
        origin = site.origin(f"{one.field}.packing.idle").kind
        kinds.setdefault("assumed, by default" if origin == DEFAULT else "as planned", []).append(name)
    for kind, names in kinds.items():
        yield f"packing of {_names(names, 'converter')}: {kind}"


def _when(took: MeasuredPlan) -> str:
    sign = f" ({took.how})" if took.how else ""
    return f"measured on {took.on}, {took.reads} read{'' if took.reads == 1 else 's'}{sign}"


def _names(names: list[str], what: str) -> str:
    if len(names) <= _NAMED:
        return ", ".join(map(repr, names))
    return f"{len(names)} {what}s"


def _shown(spread: Spread) -> str:
    low = show_time(spread.low)
    return low if spread.fixed else f"{low} to {show_time(spread.high)}"
