"""The whole run: listen first, then each check in turn, the harmless ones before those that send more than reads."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from busim.onsite.conform.changing import broadcast, busy, kept_over_power, not_in_step, refuses_beyond, writes
from busim.onsite.conform.device import Device
from busim.onsite.conform.reading import answers, damaged_frames, exceptions, other_addresses, reply_times, split_frames
from busim.onsite.conform.verdicts import LEFT_OUT, Conformance, Verdict

# A check, and why it needs `--allow-changes`, "" for reads alone.
CHECKS: tuple[tuple[Callable[[Device], Verdict], str], ...] = (
    (answers, ""),
    (reply_times, ""),
    (other_addresses, ""),
    (damaged_frames, ""),
    (split_frames, ""),
    (exceptions, ""),
    (not_in_step, "sends rubbish"),
    (busy, "sends two reads at once, which may collide on the pair"),
    (broadcast, "sends a broadcast"),
    (writes, "writes"),
    (refuses_beyond, "writes"),
    (kept_over_power, ""),
)


def conform(device: Device, listening: int, told: Callable[[Verdict], None] = lambda _: None) -> Conformance:
    """Listen for `listening` ns, then run every check; `told` gets each verdict at once. Raises UserError, and
    OtherMaster if the line is not free.
    """
    device.tool.listen_first(listening)
    verdicts = []
    for verdict in _verdicts(device):
        told(verdict)
        verdicts.append(verdict)
    tool = device.tool
    return Conformance(
        device.model.name, device.protocol.name, device.bus_id, tuple(verdicts), tuple(device.times), tool.echo,
        len(tool.sent), tool.link.notes,
    )  # fmt: skip


def _verdicts(device: Device) -> Iterator[Verdict]:
    for check, needs in CHECKS:
        if needs and not device.changes:
            what = " ".join((check.__doc__ or "").split("\n", 1)[0].split())
            yield Verdict(what.rstrip("."), LEFT_OUT, said=(f"it {needs}: --allow-changes",))
        else:
            yield check(device)
