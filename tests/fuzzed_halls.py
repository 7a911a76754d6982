"""Plans of one wall with four cameras for judges and campaigns, and for each broken master a case that shows it."""

from __future__ import annotations

from bad_protocols import GOOD

from busim.plan import Plan, read_text
from busim.testing.fuzzing import Action, Case, FaultEvent

MS = 1_000_000
SECOND = 1000 * MS
# A protocol of text lines that has steps: MODBUS has none.
STEPS = GOOD.replace(
    "refusal:",
    '  step: {request: "S{key}={value}", reply: "s{key}={value}"}\n'
    "keys:\n  zoom-camera: {iris: 0, gain: 1, requests: 102}\nrefusal:",
)


def hall(*, fast: str = "100 ms", slow: str = "1 s", protocol: str = "modbus-rtu", desk: str = "") -> Plan:
    """Four cameras at 38400 Bd, 5 ms turnaround, polled by `desk` for iris, gain and count of requests."""
    numbers = range(1, 5)
    order = "".join(f"      - {{camera: c{n}, after: 10 m}}\n" for n in numbers)
    cameras = "".join(f"  - {{name: c{n}, bus_id: {n}, serial: {n}, turnaround: 5 ms}}\n" for n in numbers)
    return read_text(
        f"""
busim: 1
name: one wall
lines:
  - name: wall
    baud: 38400 Bd
    format: 8N1
    protocol: {protocol}
    order:
      - terminator
      - master: desk
{order}      - terminator
cameras:
{cameras}
masters:
  - name: desk
    on: [wall]
    {desk}
    groups:
      - {{name: fast, values: [iris, gain], every: {fast}}}
      - {{name: slow, values: [requests], every: {slow}}}
""",
        files={"./steps.yaml": STEPS},
    )


def boxed(reboot: str = "at: 3 s, down: 12 s") -> Plan:
    """The same cameras behind a converter that starts anew while it runs."""
    plan = hall().source.replace("- master: desk", "- converter: box").replace("on: [wall]", "through: [box]")
    box = f"converters:\n  - {{name: box, endpoint: '192.0.2.1:4001', reboots: [{{{reboot}}}]}}\n"
    return read_text(plan.replace("masters:", box + "masters:"))


def behind_a_box(plan: Plan, way: str = "packing: {idle: 2 ms}, latency: 1 ms") -> Plan:
    """The same, asked through a converter, whose driver is that of the desk: by a controller that speaks TCP."""
    text = plan.source.replace("- master: desk", "- converter: box").replace("on: [wall]", "through: [box]")
    driver = ", driver: {echo: true}" if "driver: {echo: true}" in text else ""
    text = text.replace("    driver: {echo: true}\n", "")
    box = f"converters:\n  - {{name: box, endpoint: '192.0.2.1:4001', {way}{driver}}}\n"
    return read_text(text.replace("masters:", box + "masters:"), files=dict(plan.files))


def two_walls() -> Plan:
    """Two lines with two cameras each, each behind a converter of its own, polled by one master."""
    plan = behind_a_box(hall()).source
    line = plan[plan.index("  - name: wall") : plan.index("cameras:\n")]
    own = {1: "", 2: "", 3: "      - {camera: c3, after: 10 m}\n", 4: "      - {camera: c4, after: 10 m}\n"}
    first = line.replace(own[3] + own[4], "")
    second = "".join(one for one in line.splitlines(keepends=True) if "c1" not in one and "c2" not in one)
    second = second.replace("name: wall", "name: floor").replace("converter: box", "converter: cellar")
    box = plan[plan.index("  - {name: box") : plan.index("masters:")]
    cellar = box.replace("name: box", "name: cellar").replace("192.0.2.1", "192.0.2.2")
    plan = (
        plan.replace(line, first + second)
        .replace(box, box + cellar)
        .replace("through: [box]", "through: [box, cellar]")
    )
    return read_text(plan)


# A converter that forwards each byte at once, over a quick network: a slow one keeps MODBUS's silence by itself.
QUICK = "packing: {idle: 0}, latency: 0.2 ms"
HALLS = {
    "rates": hall(),
    "seldom": hall(fast="500 ms"),
    "restless": hall(fast="0", slow="0"),
    "echo": hall(desk="driver: {echo: true}"),
    "steps": hall(fast="200 ms", protocol="./steps.yaml"),
}
MOVES = tuple(Action(1500 * MS + n * 70 * MS, f"c{1 + n % 4}", "iris", 100 + n) for n in range(16))
STEPPED = tuple(move._replace(value=1, step=True) for move in MOVES)


def _on_c2(
    kind: str, length: int = 400, *, run: int = 4000, moves: tuple[Action, ...] = (), **parameters: str
) -> Case:  # fmt: skip
    """A fault at c2 from 1.5 s on, `length` ms long, in a run of `run` ms."""
    return Case(7, run * MS, (FaultEvent(kind, "c2", 1500 * MS, length * MS, tuple(parameters.items())),), moves)


# broken master -> plan, and a case in which its judges fail and the good master passes
SHOWN: dict[str, tuple[str, Case]] = {
    "late-reply-taken": ("rates", _on_c2("late-reply", by="15 ms")),
    "wrong-id-accepted": ("rates", _on_c2("wrong-id-reply")),
    "first-bytes-are-mine": ("rates", _on_c2("damaged-reply")),
    "checksum-ignored": ("rates", _on_c2("damaged-reply")),
    "never-resynchronises": ("rates", _on_c2("malformed-reply", 100, how="ahead")),
    "echo-taken": ("echo", _on_c2("lost-reply", moves=MOVES)),
    "no-drain": ("rates", _on_c2("late-reply", by="7 ms")),
    "no-gap": ("rates", _on_c2("lost-reply")),
    "impatient": ("rates", _on_c2("lost-reply")),
    "two-outstanding": ("rates", _on_c2("lost-reply")),
    "retry-storm": ("rates", _on_c2("lost-reply")),
    "repeats-for-ever": ("rates", _on_c2("dead-camera", 8000, moves=MOVES)),
    "step-repeated": ("steps", _on_c2("lost-reply", moves=STEPPED)),
    "polls-first": ("restless", _on_c2("lost-reply", moves=MOVES)),
    "dead-camera-blocks": ("restless", _on_c2("dead-camera", 18000, run=12000)),
    "probes-without-rest": ("restless", _on_c2("dead-camera", 18000, run=12000)),
    "never-probes": ("rates", _on_c2("dead-camera", 18000, run=12000)),
    "forgets-commands": ("rates", _on_c2("dead-camera", 1000, moves=MOVES)),
    "success-before-acknowledge": ("rates", _on_c2("lost-reply", moves=MOVES)),
    "never-offline": ("rates", _on_c2("dead-camera", 8000, run=6000)),
    "hasty-offline": ("rates", _on_c2("lost-reply", 100)),
    "makes-up-for-lost-polls": (
        "seldom",
        _on_c2("stuck-transmitter", 3000, run=8000, mode="babble", bytes="9c 03 e1 77 " * 4, pause="2 ms"),
    ),
}
