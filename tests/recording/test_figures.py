"""Figures: each from records made by hand, to test its definition."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.recording.figures import HOOK, QUANTITIES, Age, Fold, Histogram, Value
from busim.recording.trace import BURST, CHANGE, EFFECT, EXCHANGE, INPUT, INTENT, MARK, Record
from busim.simulator.kernel import Chance

LINE, MASTER, OTHER, CAMERA, MATE = 1, 7, 8, 3, 4
MS = 1_000_000
SECOND = 10**9


def burst(start: int, end: int, *, driver: int = MASTER, line: int = LINE) -> Record:
    """Characters on the wire, ms."""
    return (BURST, line, driver, start * MS, end * MS, 1, b"", 0)


def exchange(
    sent: float,
    ended: float,
    *,
    asked: float | None = None,
    free: float | None = None,
    outcome: str = "ok",
    kind: str = "poll",
    work: str = "fast",
    attempt: int = 1,
    camera: int = CAMERA,
    master: int = MASTER,
    read: float | None = None,
    exact: int = 0,
) -> Record:
    """One exchange, ms."""

    def ns(ms: float | None, default: float) -> int:
        return round((default if ms is None else ms) * MS)

    return (
        EXCHANGE, LINE, master, camera, camera, kind, work, attempt, ns(asked, sent), ns(sent, 0), ns(ended, 0),
        ns(free, ended), outcome, -1 if read is None else ns(read, 0), exact,
    )  # fmt: skip


def fold(*records: Record) -> Fold:
    folded = Fold()
    for record in records:
        folded.take(record)
    return folded


def of_line(*records: Record, until: int = SECOND) -> dict[str, Value]:
    return fold(*records).line(LINE, until)


def of_camera(*records: Record, until: int = SECOND) -> dict[str, Value]:
    return fold(*records).camera(LINE, CAMERA, until)


# -- the wire ------------------------------------------------------------------------------------------------


def test_occupancy_is_the_share_of_time_with_characters_on_the_wire() -> None:
    assert of_line(burst(0, 100), burst(200, 350))["occupancy"].value == pytest.approx(0.25, rel=1e-12)


@pytest.mark.parametrize(
    ("bursts", "occupied", "collisions"),
    [
        ([burst(0, 100), burst(50, 150, driver=OTHER)], 0.15, 1),  # runs into it
        ([burst(0, 100), burst(20, 60, driver=OTHER)], 0.1, 1),  # lies inside it
        ([burst(0, 100), burst(20, 60, driver=OTHER), burst(80, 120, driver=9)], 0.12, 2),
        ([burst(0, 100), burst(100, 150, driver=OTHER)], 0.15, 0),  # begins as it ends
        ([burst(0, 100), burst(100, 150)], 0.15, 0),  # the same driver goes on
        ([burst(0, 50), burst(0, 50, driver=OTHER), burst(0, 50, driver=9)], 0.05, 2),
        ([burst(0, 100), burst(90, 150, driver=OTHER), burst(140, 160)], 0.16, 2),
    ],
)
def test_bursts_that_overlap_count_once_for_the_wire_and_as_collisions(
    bursts: list[Record], occupied: float, collisions: int
) -> None:
    """Records come when a burst has ended, so in the order of their ends."""
    figures = of_line(*sorted(bursts, key=lambda record: record[4]))
    assert figures["occupancy"].value == pytest.approx(occupied, rel=1e-12)
    assert figures["collisions"].value == collisions


def test_lines_are_counted_apart() -> None:
    both = fold(burst(0, 100), burst(50, 150, driver=OTHER, line=2))
    assert both.line(1, SECOND)["occupancy"].value == pytest.approx(0.1)
    assert both.line(2, SECOND)["occupancy"].value == pytest.approx(0.1)
    assert both.line(2, SECOND)["collisions"].value == 0


# -- exchanges -----------------------------------------------------------------------------------------------


def test_every_ended_exchange_counts_and_each_outcome_in_its_place() -> None:
    figures = of_line(
        exchange(0, 10),
        exchange(20, 30, outcome="refused"),
        exchange(40, 90, outcome="time-out"),
        exchange(100, 150, outcome="damaged", attempt=1, kind="command"),
        exchange(160, 210, outcome="damaged", attempt=2, kind="command"),
        exchange(220, 230, attempt=3, kind="command"),
    )
    counts = {name: figures[name].value for name in ("exchanges", "refused", "time_outs", "damaged", "retries")}
    assert counts == {"exchanges": 6, "refused": 1, "time_outs": 1, "damaged": 2, "retries": 2}


def test_load_is_the_time_inside_exchanges_of_the_busiest_master_with_the_pause_behind_each() -> None:
    records = [
        exchange(0, 100, free=120),
        exchange(200, 280, free=300),
        exchange(300, 400, free=410, master=OTHER),
    ]
    figures = of_line(*records)
    assert figures["load"].value == pytest.approx(0.22, rel=1e-12)
    assert figures["headroom"].value == pytest.approx(0.78, rel=1e-12)


def test_the_fast_share_is_that_of_exchanges_without_an_exact_burst() -> None:
    records = [exchange(n, n + 1, exact=int(n == 0)) for n in range(8)]
    assert of_line(*records)["fast_share"].value == 7 / 8


def test_latency_runs_from_the_request_to_the_reply_and_leaves_out_what_was_not_answered() -> None:
    figures = of_line(
        exchange(0, 10),
        exchange(20, 50, outcome="refused"),
        exchange(100, 900, outcome="time-out"),
        exchange(910, 990, outcome="damaged"),
    )
    assert figures["latency_p50"].value == pytest.approx(0.010, rel=1e-3)
    assert figures["latency_max"].value == 0.030
    assert figures["latency_max"].count == 2


def test_a_move_takes_from_the_panel_to_its_reply_waiting_and_failed_attempts_included() -> None:
    figures = of_line(
        exchange(100, 150, asked=40, kind="command", outcome="time-out", work="iris"),
        exchange(160, 170, asked=40, kind="command", attempt=2, work="iris"),
    )
    assert figures["move_max"].value == 0.130
    assert figures["latency_max"].value == 0.010


def test_the_poll_rate_of_a_line_counts_all_polls_and_that_of_a_camera_its_most_polled_group() -> None:
    records = [
        *(exchange(10 * n, 10 * n + 5) for n in range(6)),
        exchange(100, 105, work="slow"),
        exchange(110, 115, camera=MATE),
        exchange(120, 125, kind="command", work="iris"),  # no poll
        exchange(130, 135, kind="probe", work="probe"),
        exchange(140, 145, outcome="time-out"),
        exchange(150, 155, outcome="refused"),
        exchange(160, 165, kind="foreign", work="write"),
    ]
    assert of_line(*records, until=2 * SECOND)["poll_rate"].value == 8 / 2
    assert of_camera(*records, until=2 * SECOND)["poll_rate"].value == 6 / 2


def test_of_reads_from_outside_each_value_has_its_own_age() -> None:
    """Registers 100 and 101 are read every 20 ms, 200 in each tenth read only: it is up to 200 ms and 5 ms old."""
    records = []
    for turn in range(50):
        work = "read 200" if turn % 10 == 9 else "read 100..101"
        records.append(exchange(20 * turn, 20 * turn + 5, kind="foreign", work=work))
    figures = of_camera(*records)
    assert figures["poll_rate"].value == 50
    assert figures["age_worst"].value == pytest.approx(0.205, rel=1e-9)
    assert figures["age_worst"].count == 5
    assert figures["age_mean"].value == pytest.approx(0.105, rel=0.03)
    often = [record for record in records if record[6] != "read 200"]
    assert of_camera(*often)["age_worst"].value == pytest.approx(0.045, rel=1e-9)  # where one read is left out


def test_values_that_overlap_in_reads_from_outside_are_as_old_as_their_own_last_read() -> None:
    wide = [exchange(100 * turn, 100 * turn + 5, kind="foreign", work="read 100..109") for turn in range(10)]
    narrow = [exchange(100 * turn + 50, 100 * turn + 55, kind="foreign", work="read 104") for turn in range(10)]
    both = sorted([*wide, *narrow], key=lambda record: record[9])
    assert of_camera(*both)["age_worst"].value == pytest.approx(0.105, rel=1e-9)


def test_a_value_that_was_read_once_from_outside_is_not_polled_and_does_not_age() -> None:
    once = exchange(0, 5, kind="foreign", work="read 7")
    often = [exchange(50 + 50 * turn, 55 + 50 * turn, kind="foreign", work="read 100") for turn in range(19)]
    assert of_camera(once, *often)["age_worst"].value == pytest.approx(0.055, rel=1e-9)
    assert of_camera(once)["age_worst"].value == 1.0


# -- time with clients ---------------------------------------------------------------------------------------


def client(at: int, what: str, *, number: int = 1, port: int = MASTER) -> Record:
    return (INPUT, at * MS, port, number, what, b"")


def refused(at: int, number: int) -> Record:
    return (EFFECT, at * MS, MASTER, "clients", f"client {number} refused: 1 are connected")


def served(*records: Record) -> Fold:
    folded = Fold()
    folded.presence.doors = {MASTER: LINE}
    for record in records:
        folded.take(record)
    return folded


ASKED = [exchange(2000 + 100 * turn, 2005 + 100 * turn, kind="foreign", work="read 100") for turn in range(20)]


def test_time_before_the_first_and_after_the_last_client_is_not_a_controller_s() -> None:
    folded = served(client(2000, "open"), burst(2000, 2400), *ASKED, client(4000, "close"))
    line, camera = folded.line(LINE, 10 * SECOND), folded.camera(LINE, CAMERA, 10 * SECOND)
    assert line["poll_rate"].value == camera["poll_rate"].value == 10
    assert line["occupancy"].value == pytest.approx(0.2)
    assert line["load"].value == pytest.approx(0.05)
    assert line["headroom"].value == pytest.approx(0.95)
    assert camera["age_worst"].value == pytest.approx(0.105)


def test_a_pause_between_clients_counts_and_so_does_a_client_that_stays_and_asks_nothing() -> None:
    folded = served(
        client(0, "open"), client(1000, "reset"), client(2000, "open", number=2), *ASKED,
        client(4000, "close", number=2), client(8000, "open", number=3),
    )  # fmt: skip
    assert folded.line(LINE, 10 * SECOND)["poll_rate"].value == 2
    assert folded.camera(LINE, CAMERA, 10 * SECOND)["age_worst"].value == pytest.approx(6.1)


def test_a_client_that_is_refused_was_never_there() -> None:
    folded = served(
        client(2000, "open"), *ASKED, client(3000, "open", number=2), refused(3000, 2), client(4000, "close")
    )  # fmt: skip
    assert folded.line(LINE, 10 * SECOND)["poll_rate"].value == 10


def test_without_a_client_rates_and_shares_do_not_apply_and_say_why() -> None:
    figures = served().line(LINE, SECOND)
    for name in ("poll_rate", "occupancy", "load"):
        assert (figures[name].value, figures[name].why) == (None, "no client connected")
    assert figures["exchanges"].value == 0


def test_where_busim_plays_a_master_on_the_line_all_time_counts() -> None:
    played = exchange(0, 5, master=OTHER)
    assert served(client(2000, "open"), played, *ASKED, client(4000, "close")).line(LINE, 10 * SECOND)[
        "poll_rate"
    ].value == pytest.approx(2.1)


# -- moves that a controller is told of ----------------------------------------------------------------------


def test_moves_told_as_intents_count_as_moves_and_are_at_the_camera_within_their_time() -> None:
    folded = Fold(hooked=True)
    assert folded.camera(LINE, CAMERA, SECOND)["move_p95"].why == "no operator moved anything"
    folded.take((INTENT, LINE, CAMERA, 100 * MS, "iris", "700", "panel", "500"))
    for figures in (folded.camera(LINE, CAMERA, SECOND), folded.line(LINE, SECOND)):
        assert (figures["move_p95"].value, figures["move_p95"].why) == (None, "no move reached its camera")
        assert (figures["intents_left"].value, figures["intents_left"].count) == (1, 1)
    folded.take((CHANGE, 160 * MS, CAMERA, "iris", "700"))
    for figures in (folded.camera(LINE, CAMERA, SECOND), folded.line(LINE, SECOND)):
        assert figures["move_p95"].value == pytest.approx(0.060, rel=1e-2)
        assert figures["move_max"].value == pytest.approx(0.060, rel=1e-9)
        assert figures["move_max"].count == 1
        assert (figures["intents_left"].value, figures["intents_left"].count) == (0, 1)


def test_a_read_of_a_client_from_outside_is_a_poll() -> None:
    assert of_camera(exchange(0, 5, kind="foreign", work="read"))["poll_rate"].value == 1


# -- age -----------------------------------------------------------------------------------------------------


def test_the_age_of_a_hand_made_sequence_is_exact() -> None:
    """Mean over time of now minus the instant of reading, by the area under it; to 1e-9.

    Read at 0, 100, 250 and 600 ms, there 20, 30, 10 and 40 ms later: between deliveries the age grows from the delivery
    delay by the time that passes. Kaul, Yates, Gruteser, INFOCOM 2012 (from memory).
    """
    reads, delays = [0, 100, 250, 600], [20, 30, 10, 40]
    records = [exchange(read, read + delay, read=read) for read, delay in zip(reads, delays, strict=True)]
    ends = [20, 130, 260, 640, 1000]
    area = sum(delay * (ends[n + 1] - ends[n]) + (ends[n + 1] - ends[n]) ** 2 / 2 for n, delay in enumerate(delays))
    figures = of_camera(*records)
    assert figures["age_mean"].value == pytest.approx(area / (1000 - 20) / 1000, rel=1e-9)
    assert figures["age_worst"].value == pytest.approx(0.400, rel=1e-9)  # at 1000 ms: 40 + 360
    assert figures["age_mean"].count == 4


def test_the_age_of_an_even_poll_is_half_its_cycle_and_the_delivery() -> None:
    """E[C^2] / (2 E[C]) + D with C 100 ms and D 30 ms: 80 ms; worst C + D: 130 ms (Kaul et al. 2012, from memory)."""
    figures = of_camera(*(exchange(n, n + 30, read=n) for n in range(0, 1000, 100)), until=1030 * MS)
    assert figures["age_mean"].value == pytest.approx(0.080, rel=1e-9)
    assert figures["age_worst"].value == pytest.approx(0.130, rel=1e-9)


def test_an_older_value_that_comes_late_does_not_make_the_age_smaller() -> None:
    ordered = [exchange(100, 110, read=100)]
    late = exchange(0, 200, read=50, master=OTHER)
    assert of_camera(*ordered, late)["age_mean"].value == of_camera(*ordered)["age_mean"].value


def test_a_value_whose_reading_is_not_known_is_as_old_as_its_request() -> None:
    assert of_camera(exchange(100, 130))["age_worst"].value == 0.900


def test_a_dead_camera_gets_older_until_the_end() -> None:
    records = [exchange(0, 10, read=0), *(exchange(n, n + 50, outcome="time-out") for n in range(100, 900, 100))]
    figures = of_camera(*records, until=10 * SECOND)
    assert figures["age_worst"].value == 10.0


# -- quantiles -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.5, 0.95, 0.99])
@pytest.mark.parametrize("mean", [100.0, 3e4, 2e7])
def test_quantiles_are_those_of_numpy_to_a_tenth_of_a_percent(share: float, mean: float) -> None:
    stream = Chance(1).stream("times")
    drawn = [stream.exponential(mean) for _ in range(20_000)]
    histogram = Histogram()
    for value in drawn:
        histogram.add(value)
    exact = float(np.quantile(drawn, share, method="inverted_cdf"))
    value = histogram.quantile(share)
    assert value is not None
    assert exact * 0.999 <= value <= exact
    assert histogram.largest == max(drawn)
    assert histogram.mean == pytest.approx(float(np.mean(drawn)), rel=1e-12)


def test_two_histograms_merged_are_one_of_all_values() -> None:
    stream = Chance(2).stream("times")
    whole, parts = Histogram(), (Histogram(), Histogram())
    for number in range(2000):
        value = stream.between(0, 10**7)
        whole.add(value)
        parts[number % 2].add(value)
    merged = Histogram()
    for part in parts:
        merged.merge(part)
    assert [merged.quantile(share / 100) for share in range(101)] == [
        whole.quantile(share / 100) for share in range(101)
    ]
    assert (merged.count, merged.mean, merged.largest) == (whole.count, whole.mean, whole.largest)


# -- what cannot be said -------------------------------------------------------------------------------------


def test_a_line_on_which_nothing_happened_says_why_it_has_no_figures() -> None:
    figures = of_line()
    assert figures["exchanges"].value == 0
    assert figures["occupancy"].value == 0
    reasons = {name: value.why for name, value in figures.items() if value.value is None}
    assert reasons == {
        "latency_p50": "no exchange was answered",
        "latency_p95": "no exchange was answered",
        "latency_p99": "no exchange was answered",
        "latency_max": "no exchange was answered",
        "move_p95": "no operator moved anything",
        "move_max": "no operator moved anything",
        "fast_share": "nothing to measure",
        "headroom": "nobody asked",
        **dict.fromkeys(HOOK, "no hook"),
    }


def test_a_camera_that_never_answered_has_no_age() -> None:
    figures = of_camera(exchange(0, 50, outcome="time-out"))
    assert figures["age_mean"].value is None
    assert figures["age_mean"].why == figures["age_worst"].why == "no poll was answered"
    assert figures["poll_rate"].value == 0


def test_headroom_is_not_given_where_polls_never_rest() -> None:
    folded = fold(exchange(0, 10))
    folded.restless = frozenset({MASTER})
    assert folded.line(LINE, SECOND)["headroom"].value is None
    assert folded.line(LINE, SECOND)["headroom"].why == "polls never rest: no rate is wanted"
    folded.restless = frozenset({OTHER})
    assert folded.line(LINE, SECOND)["headroom"].value == 0.99


def test_a_run_of_no_length_has_no_rates() -> None:
    figures = of_line(until=0)
    assert figures["poll_rate"].value is None
    assert figures["occupancy"].value is None
    assert figures["load"].value is None


def test_every_value_is_of_a_quantity_in_the_table_with_a_reason_where_there_is_none() -> None:
    for figures in (of_line(), of_camera(), of_line(exchange(0, 10)), of_camera(exchange(0, 10))):
        for name, value in figures.items():
            assert value.quantity is QUANTITIES[name]
            assert (value.value is None) == bool(value.why)
            assert value.kind == "measured"


def test_every_quantity_has_a_definition_in_words_and_is_given_somewhere() -> None:
    given = {*of_line(), *of_camera()}
    assert given == set(QUANTITIES)
    for quantity in QUANTITIES.values():
        assert quantity.title
        assert len(quantity.definition.split()) >= 3
        assert quantity.unit in ("", "1", "s", "/s")


def test_records_that_no_figure_needs_are_passed_over() -> None:
    assert of_line((MARK, 5, "doors open"))["exchanges"].value == 0


def test_cameras_that_were_asked_are_listed_by_number() -> None:
    folded = fold(exchange(0, 5), exchange(10, 15, camera=MATE), exchange(20, 25, camera=0, outcome="time-out"))
    assert folded.camera_numbers(LINE) == [0, CAMERA, MATE]
    assert folded.camera_numbers(99) == []


@given(
    st.lists(
        st.integers(0, 1 << 45)
        | st.integers(2047, 2050)
        | st.sampled_from([2**k + d for k in range(44) for d in (-1, 0, 1)]).filter(lambda n: n >= 0)
    )
)
@settings(max_examples=60, deadline=None)
def test_times_counted_at_once_are_those_counted_one_by_one(values: list[int]) -> None:
    one, other = Histogram(), Histogram()
    for value in values:
        one.add(value)
    other.add_all(values)
    assert one._buckets == other._buckets
    assert (one.count, one.total, one.largest) == (other.count, other.total, other.largest)


def test_a_camera_that_nobody_polls_has_no_age_of_no_poll() -> None:
    figures = Fold().camera(0, 0, 1)
    assert {(figures[name].value, figures[name].count) for name in ("age_mean", "age_worst")} == {(None, 0)}


@pytest.mark.parametrize(("until", "mean"), [(5, 6), (10, 6), (11, 6.5), (14, 8)])
def test_an_age_grows_from_the_first_delivery_on(until: int, mean: float) -> None:
    """Read at 4, there at 10, so 6 old; the mean of a straight line is that of its ends."""
    age = Age()
    age.deliver(10, 4)
    assert age.mean(until) == mean


def test_what_records_cannot_show_has_no_value_and_says_why() -> None:
    folded = Fold()
    folded.unseen = "nobody looked at the wire"
    values = folded.line(1, 10**9)
    assert {name: (values[name].value, values[name].why) for name in ("collisions", "occupancy")} == dict.fromkeys(
        ("collisions", "occupancy"), (None, "nobody looked at the wire")
    )
