"""The page of a camera model, shipped or of the user: what a crew and a plan need to know of it."""

from __future__ import annotations

from busim.foundation.units import show_time
from busim.plan.models import Model, Parameter


def model_page(model: Model) -> str:
    """The model as markdown: settings as delivered, power, times, registers, locks."""
    bus, supply, timing = model.bus, model.supply, model.timing
    bauds = ", ".join(f"{float(one):.10g}" for one in bus.bauds)
    volts = f"{supply.voltage.low:g} to {supply.voltage.high:g} V" if supply.voltage.high else "not in the model"
    saved = "at once" if bus.id_kept == "at-once" else "by a save"
    port = any(one.does == "change-port" for one in model.orders)
    lines = [
        f"# {model.name}: {model.title}",
        "",
        f"Firmware {model.firmware}. An emulated model: check the manual of the real camera.",
        "",
        "## On the bus",
        "",
        f"- as delivered: bus ID {bus.factory_id}, {float(bus.factory_baud):.10g} Bd, {bus.factory_format}",
        f"- bauds: {bauds} Bd; formats: {', '.join(map(str, bus.formats))}; set "
        f"{'over the bus, in force after its next start' if port else 'at its switches'}",
        f"- a new bus ID takes effect {bus.id_takes_effect.replace('-', ' ')} and is kept {saved}",
        f"- {bus.unit_load:g} unit loads; without power it {bus.unpowered} the pair",
        f"- answers after {show_time(timing.turnaround.low)} to {show_time(timing.turnaround.high)}",
        f"- answers searches: {'yes' if 'search' in model.capabilities else 'no'}",
        "",
        "## Power and times",
        "",
        f"- voltage: {volts}",
        f"- {supply.idle:g} W at idle, {supply.peak:g} W with all motors, {supply.start_up:g} W for "
        f"{show_time(supply.start_up_time)} at start-up",
        f"- starts in {show_time(timing.boot)}, saves in {show_time(timing.save)} ({timing.while_saving} meanwhile)",
        "- caution: supplies and fuses are decided by the local code and a licensed electrician",
        "",
        "## Values",
        "",
        f"Keys under: {', '.join(sorted(model.keys)) or 'no protocol'}. The key below is that of the first.",
        "",
    ]
    keys = {**next(iter(model.keys.values()), {}), **next(iter(model.order_keys.values()), {})}
    lines += [f"- {keys.get(one.name, '-')}: `{one.name}`, {_about(one)}" for one in model.parameters]
    if model.orders:
        lines += ["", "## Orders", ""]
        lines += [f"- {keys.get(one.name, '-')}: `{one.name}`, {one.does or _codes(one.codes)}" for one in model.orders]
    if model.locks or model.limits:
        lines += ["", "## Locks and limits", ""]
        lines += [f"- `{one.when}` = {one.equals} locks {', '.join(one.locks)}: {one.reason}" for one in model.locks]
        lines += [f"- `{one.limits}` is limited by `{one.by}`: {one.reason}" for one in model.limits]
    return "\n".join(lines) + "\n"


def _about(one: Parameter) -> str:
    if one.choices:
        return f"{', '.join(one.choices)}; default {one.choices[one.default - one.low]}"
    unit = f" ({one.scale:g} {one.unit} each)" if one.unit else ""
    read = "" if one.writable else ", read only"
    return f"{one.low} to {one.high}{unit}, default {one.default}{read}"


def _codes(codes: object) -> str:
    return ", ".join(f"{code}: {does}" for code, does in dict(codes).items()) if isinstance(codes, dict) else str(codes)
