"""A burst in words: the bytes of a request or reply as fields, by the protocol of its line."""

from __future__ import annotations

from typing import Any

from busim.protocols import OTHER, BusProtocol, Request
from busim.recording.trace import BURST, Trace
from busim.web.picture.laid import LaidLine

_BACK = 2_000_000_000  # ns before a reply in which its request is searched


def decoded(trace: Trace, line: LaidLine, driver: int, start: int) -> dict[str, Any] | None:
    """The burst of a driver that begins at `start` ns as JSON-ready fields; None without one.

    `fields`: names and values in reading order. Raises UserError if the trace is damaged.
    """
    burst = next((one for one in trace.records(BURST, start, start + 1, line=line.number) if one[2] == driver), None)
    if burst is None:
        return None
    _, _, _, _, end, label, data, exact = burst
    stand = line.stand(driver)
    setting = trace.settings.get(label)
    fields: list[tuple[str, str]] = []
    if setting is not None:
        fields.append(
            ("sent at", f"{float(setting.baud):g} Bd {setting.format}" + (", swapped" if setting.inverted else ""))
        )
    if line.resolved is not None and line.resolved.protocol is not None and data:
        fields += _message(trace, line, line.resolved.protocol, driver, start, data)
    if exact:
        fields.append(("path", "exact: some receiver was given levels, not bytes"))
    return {
        "driver": f"station {driver}" if stand is None else stand.name, "start": start, "end": end,
        "bytes": data.hex(" "), "size": len(data), "fields": fields,
    }  # fmt: skip


def _message(
    trace: Trace, line: LaidLine, protocol: BusProtocol, driver: int, start: int, data: bytes
) -> list[tuple[str, str]]:
    stand = line.stand(driver)
    if stand is not None and stand.kind == "camera":
        request = _request_before(trace, line, protocol, start)
        if request is not None:
            reply = protocol.decode_reply(data, request)
            if reply is not None:
                return _reply(line, reply)
            return [("reply", f"none that answers the request before it ({request[1]} from {request[2]})")]
    request = protocol.decode_request(data)
    if request is None or request == OTHER:
        return [("message", "no sound request" if request is None else "sound, but no request")]
    address, verb, key, size, values, _ = request
    rows = [("address", _whose(line, address)), ("request", verb), ("from key", _key(line, address, key))]
    if values:
        rows.append(("values", ", ".join(map(str, values[:32]))))
    elif size:
        rows.append(("number of values", str(size)))
    return rows


def _request_before(trace: Trace, line: LaidLine, protocol: BusProtocol, start: int) -> Request | None:
    last = None
    for record in trace.records(BURST, max(0, start - _BACK), start, line=line.number, by_time=True):
        stand = line.stand(record[2])
        if record[6] and (stand is None or stand.kind != "camera"):
            last = record[6]
    request = None if last is None else protocol.decode_request(last)
    return None if request == OTHER else request


def _reply(line: LaidLine, reply: Any) -> list[tuple[str, str]]:
    address, verb, key, values, refused, _ = reply
    rows = [("address", _whose(line, address)), ("reply to", verb)]
    if refused:
        return [*rows, ("refused", f"reason {refused}")]
    names = _names(line, address)
    if not values:
        return [*rows, ("from key", _key(line, address, key))]
    return rows + [
        (names.get(key + place, f"key {key + place}"), str(value)) for place, value in enumerate(values[:32])
    ]


def _whose(line: LaidLine, address: int) -> str:
    cameras = () if line.resolved is None else line.resolved.cameras
    names = [one.name for one in cameras if one.camera.bus_id == address]
    return f"{address} ({', '.join(names)} in the plan)" if names else f"{address} (none in the plan)"


def _key(line: LaidLine, address: int, key: int) -> str:
    name = _names(line, address).get(key)
    return str(key) if name is None else f"{key} ({name})"


def _names(line: LaidLine, address: int) -> dict[int, str]:
    """The names of the keys of the camera at this address."""
    for one in () if line.resolved is None else line.resolved.cameras:
        if one.camera.bus_id == address and one.spoken is not None:
            return {key: name for name, key in one.spoken.keys.items()}
    return {}
