"""A first plan of a line from what was overheard there: addresses, polls with their periods, baud where it shows.

What a capture cannot show is left at its default or marked as assumed: metres, places, supplies. The model of a camera
is the first that has every register which was read from it; its comment names the others. Registers that no model has
stand in a comment.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from busim.foundation.errors import UserError
from busim.onsite.as_built.shown import Shown
from busim.onsite.listening import Group, Survey
from busim.plan.models import Model, load
from busim.plan.models import names as model_names
from busim.protocols import READ, BusProtocol, spoken

_BAUD, _FORMAT = "38400", "8N1"  # where nothing shows them


def draft(survey: Survey, seen: Shown) -> str:
    """The text of a plan. Raises UserError if nothing was overheard that makes one."""
    protocol = survey.protocol
    low, high = protocol.addresses
    addresses = sorted(one for one in survey.watched.cameras if low <= one <= high)
    if not addresses:
        raise UserError(
            "nothing here makes a plan", file=seen.source,
            found=f"{survey.overheard.bytes} bytes without a request of {protocol.name}",
            expected="requests to cameras", mend="name another protocol, or let `busim listen --guess` find it",
        )  # fmt: skip
    keys = _read(survey, addresses)
    models = {address: _models(keys[address], protocol) for address in addresses}
    groups = [group for group in survey.groups() if any(poll.request.verb == READ for poll in group.polls)]
    rows = [
        f"# Drafted from {_bare(seen.source)}: {survey.until / 1e9:.1f} s, {survey.watched.exchanges} requests.",
        *_who(survey),
        "# Metres, places and supplies do not show in a capture: fill them in, then `busim check`.",
        "busim: 1",
        "name: as built",
        "lines:",
        f"  - name: {_quoted(seen.name)}",
        f"    baud: {_BAUD} Bd  # assumed" if seen.baud is None else f"    baud: {seen.baud} Bd  # as recorded",
        f"    format: {_FORMAT}  # assumed" if seen.format is None else f"    format: {seen.format}  # as recorded",
        f"    protocol: {protocol.name}",
        "    order:",
        "      - terminator",
        "      - converter: box",
        *(f"      - camera: ID {address}" for address in addresses),
        "      - terminator",
        "converters:",
        '  - {name: box, endpoint: "192.0.2.1:4001"}  # assumed: an address of documentation (RFC 5737)',
        "cameras:",
        *(_camera(address, models[address]) for address in addresses),
        "masters:",
        "  - name: controller",
        "    through: [box]",
        *_groups(groups, models, protocol, addresses),
    ]
    return "\n".join(rows) + "\n"


def _read(survey: Survey, addresses: Iterable[int]) -> dict[int, set[int]]:
    """Every register that was read from each camera."""
    keys: dict[int, set[int]] = {address: set() for address in addresses}
    for poll in survey.polls.values():
        request = poll.request
        if request.verb == READ and request.address in keys:
            keys[request.address].update(range(request.key, request.key + request.size))
    return keys


def _models(keys: set[int], protocol: BusProtocol) -> list[Model]:
    """The models that have all of these registers, else the one that has most of them."""
    known = []
    for name in model_names():
        try:
            known.append(spoken(load(name), protocol))
        except UserError:  # it does not speak this protocol
            continue
    have = {model.name: len(keys & set(model.keys[protocol.name].values())) for model in known}
    most = max(have.values(), default=0)
    return [model for model in known if have[model.name] == most and most]


def _camera(address: int, models: list[Model]) -> str:
    if not models:
        return f"  - {{name: ID {address}, bus_id: {address}}}  # no model has the registers that were read"
    others = ", ".join(model.name for model in models[1:])
    fits = f"its registers fit; so do those of {others}" if others else "its registers fit"
    return f"  - {{name: ID {address}, bus_id: {address}, model: {models[0].name}}}  # assumed: {fits}"


def _groups(
    groups: list[Group], models: Mapping[int, list[Model]], protocol: BusProtocol, addresses: list[int]
) -> list[str]:
    rows = []
    for number, group in enumerate(groups, 1):
        values: dict[str, None] = {}
        unknown, asked = set(), set()
        for poll in group.polls:
            request = poll.request
            if request.verb != READ or request.address not in models:
                continue
            asked.add(request.address)
            known = models[request.address]
            by_key = {key: name for name, key in known[0].keys[protocol.name].items()} if known else {}
            for key in range(request.key, request.key + request.size):
                if key in by_key:
                    values[by_key[key]] = None
                else:
                    unknown.add(key)
        notes = []
        if unknown:
            notes.append("registers without a name: " + ", ".join(map(str, sorted(unknown))))
        if missing := [address for address in addresses if address not in asked]:
            notes.append("not polled so: ID " + ", ".join(map(str, missing)))
        note = "; ".join(["measured", *notes])
        if values:
            every = f"{round(group.every / 1e5) / 10:g} ms"
            rows.append(f"      - {{name: group {number}, values: [{', '.join(values)}], every: {every}}}  # {note}")
        elif notes:
            rows.append(f"      # every {group.every / 1e6:.4g} ms: {note}")
    return ["    groups:", *rows] if any(not row.lstrip().startswith("#") for row in rows) else rows


def _who(survey: Survey) -> list[str]:
    rows = []
    if survey.sources:
        told = ", ".join(f"{_bare(source)} ({count})" for source, count in survey.sources.most_common(4))
        rows.append(f"# Requests came from {told}.")
    verdict, why = survey.second_master()
    if verdict != "not seen":
        rows.append(f"# A second master is {verdict}: {_bare(why)}.")
    return rows


def _bare(text: str) -> str:
    """Text that fits into a comment."""
    return "".join(one if one.isprintable() else "?" for one in text)[:200]


def _quoted(text: str) -> str:
    return '"' + _bare(text).replace("\\", "\\\\").replace('"', '\\"') + '"'
