"""Faults and checksums held against theory and standards: undetected errors, bursts, a channel of two states."""

from __future__ import annotations

import itertools

import pytest
from fault_halls import MS, Broken, S

from busim.protocols import READ, Reply, Request, find
from busim.recording.trace import BURST, PULSE, Record
from busim.simulator.faults.catalogue import wireless_link
from busim.simulator.kernel import Chance, Stream

READ_TWO = Request(3, READ, 4, 1)


def reply_of(protocol: str) -> bytes:
    return find(protocol).encode_reply(Reply(3, READ, 4, (0x5A,)))


@pytest.mark.parametrize(("protocol", "size"), [("short", 1), ("modbus-rtu", 2)])
def test_of_all_check_values_one_passes(protocol: str, size: int) -> None:
    """Of rubbish with an n-bit check 1 in 2^n passes: 1/256 and 1/65536 (theory of block codes, any textbook)."""
    codec, raw = find(protocol), reply_of(protocol)
    tried = (raw[:-size] + value.to_bytes(size) for value in range(256**size))
    assert sum(codec.decode_reply(one, READ_TWO) is not None for one in tried) == 1


def test_of_random_rubbish_with_an_8_bit_check_one_in_256_passes() -> None:
    """3 sigma of a binomial distribution with p = 1/256 (theory)."""
    codec, raw, stream, tries = find("short"), reply_of("short"), Chance(4).stream("rubbish"), 60_000
    passed = 0
    for _ in range(tries):
        value, check = stream.between(0, 255), stream.between(0, 255)
        passed += codec.decode_reply(raw[:-2] + bytes((value, check)), READ_TWO) is not None
    sigma = (tries / 256 * 255 / 256) ** 0.5
    assert abs(passed - tries / 256) < 3 * sigma


def flipped(raw: bytes, first: int, pattern: int) -> bytes:
    """Bits turned over from bit `first` on, in the order in which a UART sends them: the lowest of each byte first."""
    return (int.from_bytes(raw, "little") ^ pattern << first).to_bytes(len(raw), "little")


def test_a_crc_finds_every_single_bit_and_every_burst_of_up_to_its_length() -> None:
    """A CRC of degree 16 finds all bursts of 16 bits and fewer (any coding-theory text, as Peterson and Brown 1961)."""
    codec, raw = find("modbus-rtu"), reply_of("modbus-rtu")
    bits = 8 * len(raw)
    for length in range(1, 9):
        inner = range(1 << max(0, length - 2))
        for first, middle in itertools.product(range(bits - length + 1), inner):
            pattern = 1 if length == 1 else 1 | middle << 1 | 1 << length - 1
            assert codec.decode_reply(flipped(raw, first, pattern), READ_TWO) is None
    stream = Chance(5).stream("bursts")
    for _ in range(4000):
        length = stream.between(9, 16)
        pattern = 1 | stream.between(0, (1 << length - 2) - 1) << 1 | 1 << length - 1
        assert codec.decode_reply(flipped(raw, stream.between(0, bits - length), pattern), READ_TWO) is None


class Passing:
    """A bench of a link alone: its random stream, and whether each passage was good."""

    def __init__(self, stream: Stream) -> None:
        self.stream = stream
        self.bad: list[bool] = []

    def effect(self, text: str) -> None:
        self.bad.append(text.endswith("bad"))


class Free:
    """A passage that takes no time."""

    def delay(self) -> int:
        return 0


def test_a_wireless_link_is_bad_for_the_stationary_share_and_in_runs_of_its_length() -> None:
    """Gilbert 1960 and Elliott 1963 (from memory): bad for p / (p + r) of the time, in runs of 1 / r on average."""
    p, r, passages = 0.02, 0.1, 60_000
    bench = Passing(Chance(6).stream("link"))
    link = wireless_link.Link(bench, {"good": MS, "bad": 100 * MS, "good_to_bad": p, "bad_to_good": r})  # type: ignore[arg-type]
    link.inner = Free()
    for _ in range(passages):
        link.delay()
    share = sum(bench.bad) / passages
    correlation = 1 - p - r  # of the states of two passages that follow each other
    sigma = (p / (p + r) * r / (p + r) * (1 + correlation) / (1 - correlation) / passages) ** 0.5
    assert abs(share - p / (p + r)) < 3 * sigma
    runs = [len(list(group)) for bad, group in itertools.groupby(bench.bad) if bad]
    assert abs(sum(runs) / len(runs) - 1 / r) < 3 * (1 - r) ** 0.5 / r / len(runs) ** 0.5  # a geometric distribution


@pytest.mark.parametrize(("kind", "length"), [("5 kHz", 15 * MS), ("100 kHz", 750_000)])
def test_a_burst_of_noise_has_the_shape_of_the_standard(kind: str, length: int) -> None:
    """IEC 61000-4-4 (second-hand): 75 pulses, 15 ms at 5 kHz or 0.75 ms at 100 kHz, every 300 ms."""
    run = Broken(f"{{fault: noise-bursts, on: wall line, kind: '{kind}', timing: standard, hits: 1}}", length=S)
    instants = [record[2] for record in run.of(PULSE)]
    bursts = [instants[number : number + 75] for number in range(0, len(instants), 75)]
    assert len(bursts) == 3
    spacing = length // 75
    for burst in bursts:
        assert {later - former for former, later in itertools.pairwise(burst)} == {spacing}
        assert burst[-1] + spacing - burst[0] == length
    assert [burst[0] for burst in bursts] == [300 * MS, 600 * MS, 900 * MS]


def during(run: Broken, at: int) -> Record:
    """The burst under way at an instant."""
    (burst,) = (record for record in run.of(BURST) if record[3] <= at < record[4])
    return burst


def edges(burst: Record) -> list[float]:
    """ns of the edges of 8E1 characters at 38400 Bd: start bit, eight bits with the lowest first, parity, stop."""
    bit, level, found = 1e9 / 38400, 1, []
    for number, value in enumerate(burst[6]):
        ones = [value >> place & 1 for place in range(8)]
        for place, now in enumerate((0, *ones, sum(ones) % 2, 1)):
            if now != level:
                found.append(burst[3] + (11 * number + place) * bit)
            level = now
    return found


def test_bit_errors_by_ringing_hit_only_bits_beside_an_edge_of_who_sends() -> None:
    run = Broken("{fault: bit-errors, on: wall line, per_bit: 0.005, edges: yes}")
    instants = [record[2] for record in run.of(PULSE)]
    assert len(instants) > 20
    for at in instants:
        assert min(abs(edge - at) for edge in edges(during(run, at))) <= 1e9 / 38400 + 2


def test_bit_errors_by_reflections_hit_who_drives_from_afar() -> None:
    """The box stands at the start of the pair, the cameras after 12, 20 and 35 m."""
    run = Broken("{fault: bit-errors, on: wall line, per_bit: 0.005, placed: yes}")
    drivers = [during(run, record[2])[2] for record in run.of(PULSE)]
    hits = {name: drivers.count(run.number(name)) for name in ("wall box", "rope left", "rope right", "rope top")}
    assert hits["wall box"] == 0
    assert hits["rope top"] > hits["rope left"] > 0
