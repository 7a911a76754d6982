"""`busim line-test`: known cables, noise and clocks of an emulated pair come back, and a loop proves nothing."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lines import world_links
from peers import cable as joined_terminals
from scipy.stats import chi2
from typer.testing import CliRunner

from busim.cli.app import app
from busim.foundation.errors import UserError
from busim.foundation.units import CharFormat
from busim.installation import resolve
from busim.onsite.line_test import (
    FAILS,
    HOLDS,
    INCONCLUSIVE,
    RATES,
    CableTest,
    Tally,
    answer_as,
    block,
    bound,
    compared,
    loop_back,
    prove_cable,
    rule_of_three,
)
from busim.onsite.targets import Link
from busim.plan import Plan, read_text
from busim.protocols import find

FORM = CharFormat.parse("8N1")
S = 10**9
BITS = 5 * 256 * 9


def cable(
    *, noise: float = 0, near: str = "{}", far: str = "{}", bias: str = "true", chatter: str = "0", masters: str = "",
    end: str = "- {converter: far, after: 80 m}",
) -> Plan:  # fmt: skip
    """A pair with an adapter at each end, which take the baud that they are set to."""
    return read_text(f"""
busim: 1
name: bare cable
lines:
  - name: pair
    baud: 9600 Bd
    format: 8N1
    protocol: modbus-rtu
    bit_error_rate: {noise}
    bias: {bias}
    chatter: {chatter}
    order:
      - terminator
      - converter: near
      {end}
      - terminator
converters:
  - {{name: near, endpoint: "198.51.100.1:4001", packing: {{idle: 0}}, latency: 0, rfc2217: applies, driver: {near}}}
  - {{name: far, endpoint: "198.51.100.2:4001", packing: {{idle: 0}}, latency: 0, rfc2217: applies, driver: {far}}}
{masters}
cameras: []
""")


def proven(plan: Plan, *rates: int, bits: int = BITS) -> CableTest:
    with world_links(plan, "near", "far") as (_, (near, far)):
        return prove_cable(near, far, FORM, rates=rates or (9600, 38400), bits=bits, listening=S)


def sign(found: CableTest, what: str) -> str:
    return next(one.state for one in found.signs if what in one.what)


# -- what the pair is like --------------------------------------------------------------------------------------


def test_a_good_pair_is_good_to_the_highest_rate_and_no_more_is_claimed() -> None:
    found = proven(cable())
    assert found.holds
    assert (found.good_to, found.bits) == (38400, BITS)
    assert [(run.baud, run.tally.errors) for run in found.runs] == [(9600, 0), (9600, 0), (38400, 0), (38400, 0)]
    assert found.runs[0].rate == (0, 3 / BITS)
    assert sign(found, "connected") == sign(found, "exchanged") == HOLDS
    assert sign(found, "bias") == INCONCLUSIVE


@pytest.mark.parametrize("end", ["near", "far"])
def test_two_exchanged_wires_are_seen_by_what_arrives(end: str) -> None:
    found = proven(cable(**{end: "{swapped: true, fail_safe: true}"}))
    assert sign(found, "exchanged") == FAILS
    assert found.good_to is None


def test_an_adapter_that_hears_itself_is_named_and_no_error() -> None:
    found = proven(cable(near="{echo: true}"), 9600)
    assert found.echo == ("near",)
    assert found.holds


def test_a_cut_pair_is_no_connection() -> None:
    plan = cable()
    with world_links(plan, "near", "far") as (world, (near, far)):
        world._run.world.wiring.cut("pair", 2)
        found = prove_cable(near, far, FORM, rates=(9600,), bits=BITS, listening=S)
    assert sign(found, "connected") == FAILS
    assert not found.holds


def test_bytes_out_of_nothing_end_the_test_before_it_sends() -> None:
    found = proven(cable(bias="false", chatter="40 /s"))
    assert found.runs == ()
    assert found.signs[0].state == FAILS
    assert "Bias or terminators may be missing" in found.signs[0].said


# -- what a UART takes, and how much noise there is -------------------------------------------------------------


@pytest.mark.parametrize(("ppm", "good"), [(-20000, True), (20000, True), (-60000, False), (60000, False)])
def test_the_clock_tolerance_of_a_uart_comes_back(ppm: int, good: bool) -> None:
    """Every value decodes at 2 % of skew, some value fails at 6 %: Analog Devices / Maxim tutorial 2141; MODBUS over
    Serial Line V1.02, 3.2 (1 % transmit, 2 % receive).
    """
    found = proven(cable(far=f"{{clock: {ppm} ppm}}"), 9600)
    assert found.holds is good


@pytest.mark.parametrize("noise", [0.0005, 0.002])
def test_a_known_error_rate_lies_within_its_bounds(noise: float) -> None:
    found = proven(cable(noise=noise), 9600, bits=40 * 256 * 9)
    assert found.good_to is None
    tally = sum((run.tally for run in found.runs), Tally())
    low, high = bound(tally.errors, tally.bits)
    assert low <= noise <= high


def test_the_rule_of_three_is_that_of_its_source_and_of_the_exact_bound() -> None:
    """Hanley and Lippman-Hand, JAMA 249:1743, 1983: no event in n trials, at most 3 / n at 95 %."""
    for bits in (100, 10_000, 10**7):
        assert rule_of_three(bits) == 3 / bits
        exact = 1 - 0.05 ** (1 / bits)
        assert exact <= 3 / bits <= 1.02 * exact


@settings(max_examples=20)
@given(st.integers(1, 3000), st.integers(10_000, 10**8))
def test_bounds_with_errors_are_those_of_scipy(errors: int, bits: int) -> None:
    """Garwood 1936 by the chi-square distribution, as scipy has it."""
    low, high = bound(errors, bits)
    assert low * bits == pytest.approx(chi2.ppf(0.025, 2 * errors) / 2, rel=1e-6)
    assert high * bits == pytest.approx(min(bits, chi2.ppf(0.975, 2 * errors + 2) / 2), rel=1e-6)


# -- blocks ----------------------------------------------------------------------------------------------------


@given(st.integers(0, 1000))
def test_each_block_holds_every_value_once(number: int) -> None:
    assert sorted(block(number)) == list(range(256))


def test_what_happened_to_a_block_is_counted() -> None:
    sent = block(0)
    assert compared(sent, sent) == Tally(256)
    assert compared(sent, bytes((sent[0] ^ 5,)) + sent[1:]) == Tally(256, flipped=2)
    assert compared(sent, sent[:9] + sent[10:]) == Tally(256, lost=1)
    assert compared(sent, sent[:9] + b"\x00" + sent[9:]).added == 1
    assert compared(sent, b"") == Tally(256, lost=256)


# -- one end alone ---------------------------------------------------------------------------------------------


@contextmanager
def looped(echo: bool = False) -> Iterator[Link]:
    """An adapter whose own bytes come back, as on four wires with a plug at the far end."""
    with world_links(cable(near=f"{{echo: {str(echo).lower()}}}"), "near") as (_, (link,)):
        yield link


def test_a_loop_on_two_wires_is_refused() -> None:
    with looped() as link, pytest.raises(UserError, match="two-wire line"):
        loop_back(link, FORM, 2, lambda _: True)
    done = CliRunner().invoke(app, ["line-test", "/dev/ttyUSB9", "--loopback", "--yes"])
    assert isinstance(done.exception, UserError)
    assert "own echo" in str(done.exception)


def test_a_loop_needs_a_person_for_the_plug_and_silence_without_it() -> None:
    with looped() as link, pytest.raises(UserError, match="move the plug"):
        loop_back(link, FORM, 4, None)
    with looped(echo=True) as link, pytest.raises(UserError, match="come back without the plug"):
        loop_back(link, FORM, 4, lambda _: True, rates=(9600,), listening=S // 10)


def test_a_loop_with_its_plug_proves_both_pairs() -> None:
    with world_links(cable(), "near") as (world, (link,)):

        def person(question: str) -> bool:
            if question.startswith("Put"):  # joined pairs bring the bytes back, as an echo does
                world._run.world.converters["near"]._station.echo = True
            return True

        found = loop_back(link, FORM, 4, person, rates=(9600, 19200), bits=BITS, listening=S // 10)
    assert found.good_to == 19200


# -- the laptop in the place of each camera ---------------------------------------------------------------------

HALL = """
busim: 1
name: wired wall
lines:
  - name: pair
    baud: 38400 Bd
    format: 8N1
    protocol: modbus-rtu
    order:
      - terminator
      - converter: near
      - {camera: low, after: 20 m}
      - {camera: high, after: 20 m}
      - {converter: far, after: 1 m}
      - terminator
converters:
  - {name: near, endpoint: "198.51.100.1:4001"}
  - {name: far, endpoint: "198.51.100.2:4001", packing: {idle: 0}, latency: 0, driver: {echo: ECHO}}
cameras:
  - {name: low, bus_id: 1, turnaround: 3 ms, present: false}
  - {name: high, bus_id: 2, turnaround: 3 ms, present: false}
masters:
  - {name: controller, through: [near], time_out: 200 ms, groups: [{name: fast, values: [iris], every: 100 ms}]}
"""


@pytest.mark.parametrize("echo", ["false", "true"])
def test_the_laptop_answers_as_each_camera_and_the_controller_takes_it(echo: str) -> None:
    plan = read_text(HALL.replace("ECHO", echo))
    site = resolve(plan)
    with world_links(plan, "far", play=("controller",)) as (world, (link,)):
        protocol = find("modbus-rtu")
        found = [answer_as(link, one, protocol, enough=4, patience=60 * S) for one in site.lines[0].cameras]
        line = world.report().lines[0]
    assert [(one.camera, one.asked, one.answered) for one in found] == [("low", 4, 4), ("high", 4, 4)]
    assert all((line.camera(name)["exchanges"].value or 0) >= 4 for name in ("low", "high"))
    assert all((line.camera(name)["latency_p50"].value or 0) > 0 for name in ("low", "high"))  # answered ones


def test_a_camera_that_nobody_asks_is_said_to_be_unasked() -> None:
    plan = read_text(HALL.replace("ECHO", "false").split("masters:")[0])
    with world_links(plan, "far") as (_, (link,)):
        found = answer_as(link, resolve(plan).lines[0].cameras[0], find("modbus-rtu"), enough=4, patience=S)
    assert not found.holds


# -- the command -----------------------------------------------------------------------------------------------


def test_the_command_says_what_must_be_off_and_what_the_pair_bears(monkeypatch: pytest.MonkeyPatch) -> None:
    with world_links(cable(), "near", "far") as (_, links):
        waiting = list(links)
        monkeypatch.setattr("busim.onsite.targets.open_target", lambda *_, **__: waiting.pop(0))
        words = ["line-test", "socket://192.0.2.1:4001", "socket://192.0.2.2:4001", "--up-to", "19200", "--yes"]
        done = CliRunner().invoke(app, [*words, "--bits", "2304", "--listen", "100 ms"])
    assert done.exit_code == 0
    assert "supplies off and locked off" in " ".join(done.stderr.split())
    assert "good to 19200 Bd: no error in 2304 bits" in done.stdout
    assert max(map(len, done.output.splitlines())) <= 80
    with world_links(cable(noise=0.01), "near", "far") as (_, links):
        waiting = list(links)
        done = CliRunner().invoke(app, [*words, "--bits", "2304", "--listen", "100 ms", "--json"])
    assert done.exit_code == 1
    assert json.loads(done.stdout)["good_to_baud"] is None


def test_two_joined_pseudo_terminals_are_good_in_wall_time() -> None:
    with joined_terminals() as (near, far):
        words = ["line-test", near, far, "--up-to", "9600", "--bits", "2304", "--listen", "50 ms", "--yes"]
        done = CliRunner().invoke(app, words)
    assert done.exit_code == 0
    assert "good to 9600 Bd: no error in 2304 bits" in done.stdout
    assert done.stderr.count(": 0 errors in 2304 bits\n") == 2, "while it runs, for Ctrl-C"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["near"], "a cable has two ends"),
        (["near", "near"], "both ends are the same port"),
        (["near", "far", "--loopback", "--wires", "4"], "a cable has two ends"),
        (["near", "--loopback", "--wires", "4", "--answer", "plan.yaml"], "without a far end"),
        (["near", "far", "--up-to", "1200"], "no rate to try"),
    ],
)
def test_what_makes_no_test_is_refused(words: list[str], said: str) -> None:
    done = CliRunner().invoke(app, ["line-test", *words, "--yes"])
    assert isinstance(done.exception, UserError)
    assert said in str(done.exception)


def test_rates_rise() -> None:
    assert list(RATES) == sorted(RATES)
    assert all(Fraction(rate).denominator == 1 for rate in RATES)
