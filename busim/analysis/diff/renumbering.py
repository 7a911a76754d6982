"""The order in which bus IDs change on a line, so that at no moment two cameras have one ID.

Two cameras that swap their IDs need a third ID for the time being: else the first change makes both answer at once.
That is no factory ID: a new camera or a spare that is plugged meanwhile would answer there too.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from busim.installation import outline
from busim.plan import Plan

Move = tuple[str, int, int]


def renumbered(before: Plan, after: Plan) -> Iterator[tuple[str, str]]:
    """Name of a line, and a sentence with the order, where an ID that a camera is to get is still in use there."""
    old = {camera.name: camera.bus_id for camera in before.cameras}
    factory: set[int] | None = None
    for line in after.lines:
        here = [place.name for place in line.order if place.kind == "camera"]
        new = {camera.name: camera.bus_id for camera in after.cameras if camera.name in here and camera.name in old}
        now = {name: old[name] for name in new}
        if len(set(now.values())) < len(now) or len(set(new.values())) < len(new):
            continue  # one ID twice, before or after: they are told apart one by one, as in a commissioning
        clash = [name for name, bus_id in new.items() if bus_id != now[name] and bus_id in now.values()]
        if clash:
            if factory is None:
                factory = {one.factory_id or 0 for one in outline(after).cameras.values()}
                factory |= {spare.bus_id or 0 for spare in after.spares}
            others = {camera.bus_id for camera in after.cameras if camera.name in here}
            order = moves_in_order(now, new, factory | others)
            moves = ", then ".join(f"{name!r} from {a} to {b}" for name, a, b in order)
            yield line.name, f": with all connected, set the IDs in this order; save and read back each: {moves}"


def moves_in_order(now: Mapping[str, int], wanted: Mapping[str, int], taken: Collection[int] = ()) -> list[Move]:
    """Moves (camera, old ID, new ID) after which each camera has its wanted ID. IDs are distinct on both sides.

    `taken`: IDs that no camera gets for the time being.
    """
    at = dict(now)
    moves: list[Move] = []
    while waiting := [name for name in at if at[name] != wanted[name]]:
        free = [name for name in waiting if wanted[name] not in at.values()]
        if free:
            name, to = free[0], wanted[free[0]]
        else:
            name, to = (
                waiting[0],
                next(bus_id for bus_id in range(1, 10**6) if bus_id not in {*at.values(), *wanted.values(), *taken}),
            )
        moves.append((name, at[name], to))
        at[name] = to
    return moves
