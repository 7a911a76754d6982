"""Benchmarks: ratios of interleaved runs, with their spread (called by tools/bench).

Only ratios are claims: both sides are measured in turn in one process, in CPU seconds where one process does all the
work, so that a busy machine slows both alike. Each line says the command that prints it.
"""

from __future__ import annotations

import argparse
import asyncio
import resource
import statistics
import subprocess
import sys
import sysconfig
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))  # for plans that both draw
import simpy_line
from drawn_plans import large

from busim.analysis.budget import budget as plan_budget
from busim.analysis.check import check as plan_check
from busim.experiments.sweep import compute, parse_axis
from busim.plan import Plan, read, read_text
from busim.protocols import READ, WRITE, BusProtocol, Reply, Request
from busim.protocols import find as find_protocol
from busim.protocols import read_text as read_protocol
from busim.runtime.session import Live, Run
from busim.runtime.session.lateness import Lateness
from busim.runtime.sweep_workers import processes, simulated_sweep
from busim.simulator.faults import all_faults
from busim.simulator.kernel import core as running_core
from busim.web import ControlServer

DECLARATIONS = Path(__file__).parent.parent / "busim" / "protocols" / "declarations"


def plan_of(cameras: int, lines: int = 1, *, baud: int = 115200, format: str = "8N1", turnaround: str = "1 ms") -> Plan:
    """Lines with a master and cameras each, polled without rest for three neighbouring registers."""
    text = ["busim: 1", "name: bench", "lines:"]
    for line in range(lines):
        text += [f"  - name: line {line}", f"    baud: {baud} Bd", f"    format: {format}", "    protocol: modbus-rtu"]
        text += ["    order:", f"      - master: master {line}"]
        for camera in range(cameras):
            text += [f"      - camera: camera {line}-{camera}", "        after: 2 m"]
    text.append("cameras:")
    for line in range(lines):
        for camera in range(cameras):
            name = f"camera {line}-{camera}"
            text.append(f"  - {{name: {name}, model: zoom-camera, bus_id: {camera + 1}, turnaround: {turnaround}}}")
    text.append("masters:")
    for line in range(lines):
        text += [f"  - name: master {line}", f"    on: [line {line}]", "    groups:"]
        text.append("      - {name: fast, values: [iris, gain, shutter], every: 0}")
    return read_text("\n".join(text))


def exchanges(run: Run) -> int:
    """Number of exchanges of a run, on all lines."""
    return sum(int(line.figures["exchanges"].value or 0) for line in run.report().lines)


def rate(
    plan: Plan, seconds: float, *, clock: Callable[[], float] = time.process_time, trace: str | None = None
) -> float:
    """Exchanges per second of `clock`, figures on; with `trace` recorded and closed."""
    run = Run(plan, 1, trace=trace, overwrite=True)
    began = clock()
    run.advance(round(seconds * 1e9))
    run.finish()
    took = clock() - began
    return exchanges(run) / took  # making the report is not part of an exchange


def spread(values: list[float]) -> str:
    """Median, minimum and maximum."""
    return f"{statistics.median(values):6.2f}  ({min(values):.2f} .. {max(values):.2f}, {len(values)} runs)"


def say(what: str, values: list[float], bar: str, part: str) -> None:
    sys.stdout.write(f"{what:<62} {spread(values)}  bar: {bar}\n{'':<62} tools/bench {part}\n")


def rounds(count: int) -> Iterator[int]:
    for number in range(count):
        if sys.stderr.isatty():
            sys.stderr.write(f"\r{number + 1} of {count} ")
        yield number
    if sys.stderr.isatty():
        sys.stderr.write("\r\033[K")


def core(count: int) -> None:
    """Full exchanges per second on one core, against the pinned SimPy model and against a bare heap."""
    plan = plan_of(8)
    simpy_line.time = SimpleNamespace(perf_counter=time.process_time)  # both sides in CPU time of this process
    against_simpy, against_heap, absolute = [], [], []
    for _ in rounds(count):
        mine = rate(plan, 20)
        absolute.append(mine / 1000)
        against_simpy.append(mine / simpy_line.simpy_exchanges(seconds=20))
        against_heap.append(mine / simpy_line.heap_exchanges(seconds=20))
    bar = "at least 2.2 (goal 3)" if running_core() == "compiled" else "at least 1.2"
    say("exchanges per CPU second / the SimPy model's", against_simpy, bar, "core")
    say("exchanges per CPU second / the bare heap's", against_heap, "none", "core")
    say("thousand exchanges per CPU second (this machine, now)", absolute, "none", "core")


def trace(count: int) -> None:
    """What recording costs a run of 600 s: in wall time (the writer is another process) and in CPU time of the run
    itself.
    """
    plan = plan_of(8)
    walls, cpus = [], []
    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "bench.busim")
        rate(plan, 1, trace=path)
        for _ in rounds(count):
            walls.append(
                rate(plan, 600, clock=time.perf_counter) / rate(plan, 600, clock=time.perf_counter, trace=path)
            )
            cpus.append(rate(plan, 600) / rate(plan, 600, trace=path))
    say("wall time with a trace / without", walls, "at most 1.15", "trace")
    say("CPU time of the run with a trace / without", cpus, "at most 1.15", "trace")


def size(count: int) -> None:
    """Time per exchange for installations of growing size."""
    one, many_cameras, many_lines = plan_of(1), plan_of(32), plan_of(1, 64)
    cameras, lines = [], []
    for _ in rounds(count):
        base = rate(one, 20)
        cameras.append(base / rate(many_cameras, 20))
        lines.append(rate(one, 20) / rate(many_lines, 2))
    say("time per exchange, 32 cameras on a line / 1", cameras, "0.8 to 1.15", "size")
    say("time per exchange, 64 lines / 1", lines, "0.8 to 1.15", "size")


def day(_: int) -> None:
    """24 hours of one polled line at 9600 Bd in fast time: how much memory grows after the first hour."""
    run = Run(plan_of(8, baud=9600, format="8E1", turnaround="2..8 ms"), 1)
    hour = 3600 * 10**9
    run.advance(hour)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for number in rounds(23):
        run.advance((number + 2) * hour)
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    say(f"MB grown over 23 more hours ({exchanges(run)} exchanges)", [grown], "under 50", "day")


def start(count: int) -> None:
    """Whole processes with their start-up: `busim --help`, and a computed sweep of 5,280 rows."""
    plan = str(Path(__file__).parent.parent / "scenarios/climbing-hall/plan.yaml")
    grid = ["-m", "busim", "sweep", plan, "--vary", "line.baud=9600..250000/55", "--vary", "cameras=1..32"]
    times, swept, bare, ratios = [], [], [], []
    for _ in rounds(count):
        began = time.perf_counter()
        subprocess.run([sys.executable, "-m", "busim", "--help"], check=True, stdout=subprocess.DEVNULL)
        times.append(time.perf_counter() - began)
        bare.append(process_cpu(["-c", "import numpy"]))
        swept.append(process_cpu(grid))
        ratios.append(swept[-1] / bare[-1])
    say("busim --help, seconds", times, "under 0.25", "start")
    say("CPU seconds of a computed sweep of 5,280 rows", swept, "under 0.5", "start")
    say("CPU seconds of an interpreter that imports numpy", bare, "none", "start")
    say("sweep / interpreter that imports numpy", ratios, "none", "start")


def process_cpu(words: list[str]) -> float:
    """CPU seconds of one Python process with these arguments."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *words], check=True, stdout=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def virtual(count: int) -> None:
    """A general MODBUS library, unchanged, polling in virtual time."""
    in_process("virtual", count)


def pyserial(count: int) -> None:
    """An exchange of a blocking library through busim://, in wall time: its own sleeps simulated, and as it is."""
    in_process("pyserial", count)


def in_process(part: str, count: int) -> None:
    """Runs in its own process, so that the other parts do not load the libraries."""
    program = str(Path(__file__).parent / "bench_in_process.py")
    subprocess.run([sys.executable, program, part, str(count)], check=True)


def cases(count: int) -> None:
    """Judged cases of a campaign: of a pure master, and of an asyncio controller in virtual time."""
    subprocess.run([sys.executable, str(Path(__file__).parent / "bench_cases.py"), str(count)], check=True)


def tap(count: int) -> None:
    """What a tap adds to a reply on loopback."""
    command = [sys.executable, str(Path(__file__).parent / "bench_tap.py"), "--rounds", str(count)]
    subprocess.run(command, check=True)


def listen(count: int) -> None:
    """How many bytes of a capture are paired, timed and counted per CPU second."""
    subprocess.run([sys.executable, str(Path(__file__).parent / "bench_listen.py"), str(count)], check=True)


def live(_: int) -> None:
    """Lateness of replies in wall time, against an empty asyncio server."""
    subprocess.run([sys.executable, str(Path(__file__).parent / "bench_live.py")], check=True)


def budget(count: int) -> None:
    """Time of the whole budget of a loaded plan: nine cameras on three lines, with moves."""
    scenarios = Path(__file__).parent.parent / "scenarios"
    plan, own = read(scenarios / "climbing-hall/plan.yaml"), read(scenarios / "lines-of-text/plan.yaml")
    whole, shown, plain, spoken = [], [], [], []
    for _ in rounds(25 * count):  # enough rounds to outlast a burst of other work on the machine
        for times, one, what_ifs, streams in (
            (whole, plan, True, True), (shown, plan, True, False), (plain, plan, False, False),
            (spoken, own, True, True),
        ):  # fmt: skip
            began = time.process_time()
            plan_budget(one, what_ifs=what_ifs, streams=streams)
            times.append(1000 * (time.process_time() - began))
    say("ms of a loaded plan's budget, as `busim budget` shows it", shown, "under 25", "budget")
    say("ms with more operators and joysticks, as --detail shows it", whole, "under 25", "budget")
    say("ms without them", plain, "none", "budget")
    say("ms of three cameras on one line, a protocol of their own", spoken, "none", "budget")
    say("ms of the first budget that a process makes", whole[:1], "none", "budget")


def check(count: int) -> None:
    """Reading and checking a plan of 300 cameras on 40 lines, all rules, after start-up."""
    text = large()
    plan_check(read_text(text))
    reads, checks = [], []
    for _ in rounds(count):
        began = time.process_time()
        plan = read_text(text)
        read = time.process_time()
        plan_check(plan)
        reads.append(read - began)
        checks.append(time.process_time() - read)
    say("CPU seconds to read the plan (this machine, now)", reads, "none", "check")
    say("CPU seconds to check it (this machine, now)", checks, "under 1 with the reading", "check")


def sweep(count: int) -> None:
    """10,000 computed points; simulated points on two processes against one (needs two free cores)."""
    plan = read(Path(__file__).parent.parent / "scenarios/climbing-hall/plan.yaml")
    computed, gained = [], []
    axes = [parse_axis("line.baud=9600..250000/100"), parse_axis("converter.packing=0.1..50 ms/100")]
    for _ in rounds(count):
        began = time.process_time()
        compute(plan, axes, line="boulder line")
        computed.append(time.process_time() - began)
    say("seconds for 10,000 computed points", computed, "under 0.1", "sweep")
    axes = [parse_axis("line.baud=19200,38400,57600,115200")]
    for _ in rounds(count):
        walls = []
        for workers in (1, 2):
            with processes(workers) as pool:
                for task in [pool.submit(abs, 1) for _ in range(8)]:
                    task.result()
                began = time.perf_counter()
                simulated_sweep(plan, axes, pool, workers=workers, seeds=2, length=60 * 10**9)
                walls.append(time.perf_counter() - began)
        gained.append(walls[0] / walls[1])
    say("wall time of a simulated sweep, one process / two", gained, "at least 1.7", "sweep")


def protocols(count: int) -> None:
    """A declared protocol's codec against modbus-rtu's, over the messages of reads and writes, and loading a file."""
    names = ("text", "short", "tagged")
    ratios: dict[str, list[float]] = {name: [] for name in names}
    loads: list[float] = []
    for _ in rounds(count):
        base = codec_time(find_protocol("modbus-rtu"))
        for name in names:
            ratios[name].append(codec_time(find_protocol(name)) / base)
            text = (DECLARATIONS / f"{name}.yaml").read_text()
            began = time.process_time()
            read_protocol(text)
            loads.append(1000 * (time.process_time() - began))
    for name in names:
        say(f"codec of {name} / of modbus-rtu", ratios[name], "at most 1.5", "protocols")
    say("loading a declaration, ms", loads, "under 20", "protocols")


def codec_time(protocol: BusProtocol) -> float:
    """CPU seconds for 2000 exchanges, reads and writes of single values: each message encoded and decoded."""
    exchanges = []
    for number in range(2000):
        values = (number * 7 % 1001,)
        asked = Request(1 + number % 8, READ if number % 4 else WRITE, number % 15, 1, () if number % 4 else values)
        exchanges.append((asked, values))
    began = 0.0
    for _ in range(2):  # the first time fills tables and makes functions
        began = time.process_time()
        for asked, values in exchanges:
            heard = protocol.decode_request(protocol.encode_request(asked))
            assert heard is not None
            reply = Reply(heard.address, heard.verb, heard.key, values, 0, heard.form)
            protocol.decode_reply(protocol.encode_reply(reply), asked)
    return time.process_time() - began


def faults(count: int) -> None:
    """Cost of faults that are declared and never on: each at each place, against the same plan without faults."""
    bare = plan_of(8)
    never = "\n".join(
        f"  - {{fault: {name}, on: 'every {one.on}', at: 23 h}}" for name, one in all_faults().items()
        if one.on != "converter"  # the plan has no faults
    )  # fmt: skip
    loaded = read_text(f"{bare.source}\nfaults:\n{never}\n")
    ratios = []
    for number in rounds(max(30, count)):
        pair = [0.0, 0.0]
        for which in (0, 1) if number % 2 else (1, 0):
            pair[which] = rate((bare, loaded)[which], 20)
        ratios.append(pair[0] / pair[1])
    say("time per exchange, faults declared and off / none declared", ratios, "at most 1.05", "faults")


def control(_: int) -> None:
    """Lateness of a session in wall time with 10,000 control requests a second, and without."""
    plan = read(Path(__file__).parent.parent / "scenarios/climbing-hall/plan.yaml")
    program = str(Path(__file__).parent / "flood.py")
    for flooded in (False, True):
        late, said = asyncio.run(_controlled(plan, program if flooded else None))
        quantiles = [late.quantile(part) or 0.0 for part in (0.5, 0.99)]
        name = "with 10,000 control requests a second" if flooded else "without"
        say(f"us late, median: {name}", [quantiles[0] / 1000], "none", "control")
        say(f"us late, 99th per cent: {name}", [quantiles[1] / 1000], "none", "control")
        sys.stdout.write(said)


async def _controlled(plan: Plan, program: str | None) -> tuple[Lateness, str]:
    """Five seconds of a session with the control API, and perhaps a flood of requests from another process."""
    server = ControlServer()
    async with Live(plan, 1, any_port=True, play=[one.name for one in plan.masters]) as live, server.serving(live):
        await asyncio.sleep(1)
        live.lateness = late = Lateness()
        if program is None:
            await asyncio.sleep(5)
            return late, ""
        flood = await asyncio.create_subprocess_exec(
            sys.executable, program, server.url, server.token, "10000", "5", stdout=subprocess.PIPE
        )
        said, _ = await flood.communicate()
        return late, said.decode()


def page(count: int) -> None:
    """What a page and a browser cost a live session, the page's share of a core, and its memory over eight hours."""
    subprocess.run([sys.executable, str(Path(__file__).parent / "bench_page.py"), str(count)], check=True)


PARTS = {
    "core": core, "trace": trace, "size": size, "virtual": virtual, "pyserial": pyserial, "start": start,
    "live": live, "tap": tap, "listen": listen, "budget": budget, "check": check, "sweep": sweep,
    "protocols": protocols, "faults": faults, "control": control, "day": day, "cases": cases,
    "page": page,
}  # fmt: skip


def interpreter() -> str:
    """The interpreter and its build: one without profile-guided optimisation is 1.1 to 1.2 times slower (measured)."""
    guided = "--enable-optimizations" in (sysconfig.get_config_var("CONFIG_ARGS") or "")
    kind = f"{sys.implementation.name} {sys.version.partition(' ')[0]}"
    return f"{kind}, built {'with' if guided else 'without'} profile-guided optimisation"


def main() -> None:
    """Run the named parts, or all."""
    parser = argparse.ArgumentParser(prog="tools/bench", description=__doc__)
    parser.add_argument("parts", nargs="*", choices=[*PARTS, []], help="which (default: all)")
    parser.add_argument("--rounds", type=int, default=7, help="interleaved rounds of each part")
    given = parser.parse_args()
    sys.stdout.write(f"{interpreter()}; {running_core()} core of busim\n")
    for name in given.parts or PARTS:
        sys.stdout.write(f"\n{name}: {PARTS[name].__doc__}\n")
        sys.stdout.flush()
        PARTS[name](given.rounds)


if __name__ == "__main__":
    main()
