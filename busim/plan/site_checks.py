"""Checks between the site and the rest of a plan: every name must have its entry.

The reader does not judge whether a supply is strong enough or an address lies in its network; rules do.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import islice

from busim.foundation.yaml_source import suggestion
from busim.plan.view import KINDS, Found, View, name_of, quoted

_IN_PLACES = ("converters", "cameras", "panels", "supplies", "spares")
_FED = ("converters", "cameras")
_MOST_LISTED = 12


def _named_entries_exist(view: View) -> Found:
    for key, kinds, of in (("place", _IN_PLACES, "places"), ("supply", _FED, "supplies")):
        for kind in kinds:
            for field, entry in view.items(kind):
                if isinstance(entry.get(key), str):
                    yield from view.exists(f"{field}.{key}", of, entry[key])


def _feeds_are_stations(view: View) -> Found:
    feeder: dict[str, tuple[str, str]] = {}  # station -> its supply, and the field that names it
    for kind in _FED:
        for field, name, entry in view.named(kind):
            if isinstance(entry.get("supply"), str):
                feeder.setdefault(name, (entry["supply"], f"{field}.supply"))
    stations = dict.fromkeys([*view.names["converters"], *view.names["cameras"]])
    for field, entry in view.items("supplies"):
        yield from view.once(field, entry, "feeds")
        for place, station in view.words(field, entry, "feeds"):
            yield from _among(view, place, station, stations, "no-such-station", "converter or camera")
            other, where = feeder.setdefault(station, (name_of(entry), place))
            if other != name_of(entry) and not view.twice(station):
                line, _ = view.document.positions[where]
                yield view.finding(
                    place,
                    "fed-twice",
                    "another supply already feeds this station",
                    found=f"{quoted(station)}, by {quoted(other)} on line {line}",
                    expected="one supply",
                    mend="keep the supply that truly feeds it on site, and take it off the other",
                )


def _supplies_are_injected_somewhere(view: View) -> Found:
    known = dict.fromkeys([*view.names["converters"], *view.names["cameras"], *_boxes(view)])
    for field, entry in view.items("supplies"):
        if isinstance(entry.get("at"), str):
            yield from _among(view, f"{field}.at", entry["at"], known, "no-such-station", "converter, camera or box")


def _bias_is_on_its_line(view: View) -> Found:
    standing: dict[str, dict[str, None]] = {}
    for name_of_line, _, _, name in view.places():
        standing.setdefault(name_of_line, {})[name] = None
    for field, line in view.items("lines"):
        bias = line.get("bias")
        if isinstance(bias, dict):
            yield from view.once(f"{field}.bias", bias, "at")
            known = standing.get(name_of(line), {})
            for place, name in view.words(f"{field}.bias", bias, "at"):
                yield from _among(view, place, name, known, "not-on-a-line", "station on this line")


def _silenced_entries_exist(view: View) -> Found:
    known = dict.fromkeys([*(name for kind in KINDS for name in view.names[kind]), *_boxes(view)])
    for field, entry in view.items("silenced"):
        if isinstance(entry.get("at"), str):
            yield from _among(view, f"{field}.at", entry["at"], known, "no-such-entry", "entry of the plan", KINDS)


def _boxes(view: View) -> list[str]:
    return [entry["box"] for _, entry in view.items("converters") if isinstance(entry.get("box"), str)]


def _among(
    view: View, field: str, name: str, known: dict[str, None], code: str, what: str, kinds: Iterable[str] = _FED
) -> Found:
    """A finding if the name is not among the known ones, which are of these kinds."""
    if name in known or view.unsure(*kinds) or any(name in view.unfit[kind] for kind in kinds):
        return
    listed = ", ".join(f"`{entry[:60]}`" for entry in islice(known, _MOST_LISTED)) or "there is none"
    more = f" and {len(known) - _MOST_LISTED} more" if len(known) > _MOST_LISTED else ""
    yield view.finding(
        field,
        code,
        f"there is no {what} of this name",
        found=quoted(name),
        expected=listed + more,
        mend=suggestion(name, known, "write the name exactly as it is declared"),
    )


SITE_CHECKS: tuple[Callable[[View], Found], ...] = (
    _named_entries_exist,
    _feeds_are_stations,
    _supplies_are_injected_somewhere,
    _bias_is_on_its_line,
    _silenced_entries_exist,
)
