"""Campaigns: broken masters are found, cases become small, the good master passes, and every campaign repeats."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from fuzzed_halls import HALLS, MS, QUICK, SECOND, SHOWN, behind_a_box, two_walls

from busim.foundation.errors import UserError
from busim.recording.trace import open_trace
from busim.runtime.sweep_workers import processes
from busim.simulator.faults import all_faults
from busim.simulator.kernel import Chance
from busim.simulator.masters import Master
from busim.testing.broken_masters import BROKEN
from busim.testing.fuzzing import (
    NOT_DRAWN,
    Accepted,
    Action,
    Campaign,
    Case,
    FaultEvent,
    Link,
    PureRun,
    case_of,
    fuzz,
    known_faults,
    load,
    read_accepted,
    run_pure,
    save,
    save_test,
    space_of,
)
from busim.testing.fuzzing.drawing import Drawing
from busim.testing.judge_catalogue import all_judges
from busim.testing.judging import FAIL, PASS, judge_trace

# Two judge the installation, not the master.
JUDGES = tuple(judge for name, judge in all_judges().items() if name not in ("address-plan", "transparency"))
BABBLE = (("mode", "babble"), ("bytes", "9c 03 e1 77 20 ff 04 5b"), ("pause", "2 ms"))
MOST_FAULTS = 3


def campaign(name: str, cases: int, *, seed: int = 1, first_only: bool = True) -> tuple[PureRun, Campaign]:
    plan = HALLS[SHOWN[name][0]] if name in SHOWN else HALLS[name]
    make = BROKEN[name].make if name in BROKEN else Master
    run = PureRun(plan, JUDGES, make)
    return run, fuzz(run, space_of(plan), seed=seed, cases=cases, first_only=first_only)


@pytest.mark.parametrize("name", ["wrong-id-accepted", "impatient", "hasty-offline"])
def test_a_campaign_finds_a_broken_master_and_makes_the_case_small(name: str) -> None:
    run, found = campaign(name, 40)
    assert found.failures
    for failure in found.failures:
        assert len(failure.case.faults) <= MOST_FAULTS
        assert failure.case.length <= failure.first.length
        again = run(failure.case).verdicts
        assert failure.verdict in again


def test_the_good_master_is_left_alone() -> None:
    _, found = campaign("rates", 16, first_only=False)
    assert [(failure.judge, failure.verdict.why, failure.case) for failure in found.failures] == []
    assert found.effects >= 12, "some faults of the catalogue need a search, a save or a broadcast"
    assert found.outcomes["quiet-line"]["pass"] >= 12


def test_the_good_master_of_two_lines_is_left_alone() -> None:
    plan = two_walls()
    found = fuzz(PureRun(plan, JUDGES, Master, link=Link), space_of(plan), seed=3, cases=16)
    assert [(failure.judge, failure.verdict.why, failure.case) for failure in found.failures] == []
    assert found.effects >= 12


def test_what_happens_on_one_line_does_not_count_on_another() -> None:
    cellar = FaultEvent("dropped-connections", "cellar", 14 * SECOND, 500 * MS, (("rate", "10 /s"),))
    case = Case(1, 18 * SECOND, (FaultEvent("dead-camera", "c1", 2 * SECOND, 15 * SECOND), cellar))
    found = {one.judge: one for one in PureRun(two_walls(), JUDGES, Master, link=Link)(case).verdicts}
    assert (found["fairness"].outcome, found["fairness"].judged) == (PASS, 2)


def test_equal_seeds_give_equal_campaigns_and_other_seeds_others() -> None:
    _, first = campaign("rates", 4, first_only=False)
    _, second = campaign("rates", 4, first_only=False)
    assert (first.reached, first.kept, first.outcomes) == (second.reached, second.kept, second.outcomes)
    _, other = campaign("rates", 4, seed=2, first_only=False)
    assert other.kept != first.kept


@pytest.mark.timeout(600)  # on a busy machine
def test_another_process_finds_what_one_alone_finds() -> None:
    plan = HALLS["steps"]  # its protocol is a file: what is compiled from that stays in each process
    run = PureRun(plan, JUDGES, Master)
    space = replace(space_of(plan), length=3 * SECOND)
    alone = fuzz(run, space, seed=3, cases=3)
    with processes(1) as pool:
        together = fuzz(run, space, seed=3, cases=3, over=lambda run, cases: pool.map(run, cases))
    assert (together.reached, together.kept, together.outcomes) == (alone.reached, alone.kept, alone.outcomes)


def test_a_failure_is_saved_with_its_trace_and_fails_again_when_loaded(tmp_path: Path) -> None:
    run, found = campaign("hasty-offline", 40)
    failure = found.failures[0]
    path = save(tmp_path, run, failure)
    saved = load(path)
    assert (saved.judge, saved.case, saved.why) == (failure.judge, failure.case, failure.verdict.why)
    kept = run_pure(saved.plan, saved.case, JUDGES, run.make, keep=True)
    assert failure.verdict in kept.verdicts
    assert kept.ground is not None
    with open_trace(path.with_suffix(".busim")) as trace:
        judged = judge_trace(kept.ground, trace, [all_judges()[failure.judge]], meant=True)
    assert judged == [failure.verdict]


def test_faults_of_the_catalogue_are_drawn_with_values_within_their_bounds() -> None:
    plan = HALLS["rates"]
    run = PureRun(plan, JUDGES, BROKEN["wrong-id-accepted"].make)
    found = fuzz(run, space_of(plan, kinds=["late-reply"]), seed=4, cases=40, first_only=True)
    assert {one.kind for case in found.kept for one in case.faults} == {"late-reply"}
    assert any(one.parameters for case in found.kept for one in case.faults)
    assert found.failures[0].verdict.evidence[0].fault.startswith("late-reply at c")
    assert case_of(found.failures[0].case.as_json()) == found.failures[0].case


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", '{"busim-failure": 9}', '{"busim-failure": 1}', "\x00", "[" * 100_000]
)
def test_a_file_that_is_no_saved_failure_is_refused(text: str, tmp_path: Path) -> None:
    path = tmp_path / "failure.json"
    path.write_text(text)
    with pytest.raises(UserError):
        load(path)


FAULT: list[Any] = ["late-reply", "c2", 1500 * MS, 400 * MS, []]
MOVE: list[Any] = [1500 * MS, "c1", "iris", 5, False]
# Where a saved failure was edited or damaged, and what then stands there.
DAMAGES: dict[str, tuple[str, Any]] = {
    "a fault with a part too few": ("faults.0", [FAULT[:4]]),
    "a fault with a part too many": ("faults.0", [[*FAULT, "x"]]),
    "a parameter without a value": ("faults.0", [[*FAULT[:4], [["share"]]]]),
    "a fault before the beginning": ("faults.0.2", [["late-reply", "c2", -5, 400 * MS, []]]),
    "a fault at no instant": ("faults.0.2", [["late-reply", "c2", "soon", 400 * MS, []]]),
    "faults that are none": ("faults", 3),
    "a move at no instant": ("actions.0.0", [["soon", *MOVE[1:]]]),
    "a move with a part too few": ("actions.0", [MOVE[:3]]),
    "a move to no number": ("actions.0.3", [[*MOVE[:3], "bright", False]]),
    "a move of an unknown camera": ("actions.0.1", [[MOVE[0], "c9", *MOVE[2:]]]),
    "a move of an unknown control": ("actions.0.2", [[*MOVE[:2], "warp", 5, False]]),
    "a move beyond a register": ("actions.0.3", [[*MOVE[:3], 10**9, False]]),
    "a move below a register": ("actions.0.3", [[*MOVE[:3], -5, False]]),
    "a step where there are none": ("actions.0.3", [[*MOVE[:3], 1, True]]),
    "a negative length": ("length", -1),
    "no length": ("length", 0),
    "a length that is no number": ("length", "4s"),
    "a length beyond all time": ("length", 10**30),
    "a seed that is no number": ("seed", "x"),
    "a seed that is missing": ("seed", None),
    "a judge that is no name": ("judge", ["quiet-line"]),
    "a plan that is no text": ("plan", 7),
    "files that are none": ("plan-files", []),
    "a master that is no name": ("tested.make", {"make": 5}),
    "words that are none": ("tested.command.0", {"command": [1, 2], "master": "desk"}),
    "an unknown master": ("tested.master", {"command": ["true"], "master": "nobody"}),
    "a file without its function": ("tested.function", {"function": ["a.py"], "master": "desk"}),
}


@pytest.mark.parametrize("damage", DAMAGES)
@pytest.mark.parametrize("form", [1, 2])
def test_a_saved_failure_that_is_damaged_is_refused_with_the_place(damage: str, form: int, tmp_path: Path) -> None:
    case = Case(
        7, 2 * SECOND, (FaultEvent("late-reply", "c2", 1500 * MS, 400 * MS),), (Action(1500 * MS, "c1", "iris", 5),)
    )
    path = save_test(tmp_path, "test_desk.py", "test_desk", behind_a_box(HALLS["rates"]), case, "it asked")
    entry = json.loads(path.read_text())
    assert load(path).case == case
    place, value = DAMAGES[damage]
    entry |= {place.partition(".")[0]: value, "busim-failure": form}
    if form == 1 and isinstance(entry["faults"], list):
        entry["faults"] = [[*one[:4], 1, *one[4:]] for one in entry["faults"]]  # they had an amount
    path.write_text(json.dumps(entry))
    with pytest.raises(UserError) as told:
        load(path)
    if form == 2:
        assert place in str(told.value)


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ("judge: quiet-lines, reason: known", "accepted[0].judge: busim has no such judge"),
        ("judge: quiet-lines, reason: known", "did you mean `quiet-line`?"),
        ("judge: quiet-line, fault: late-replay, reason: known", "did you mean `late-reply`?"),
        ("judge: quiet-line, fault: [late-reply], reason: known", "busim has no such fault"),
        ("judge: quiet-line", "needs a judge and a reason"),
        ("judge: quiet-line, reason: ' '", "needs a judge and a reason"),
        ("judge: quiet-line, reason: [known]", "needs a judge and a reason"),
        ("judge: quiet-line, reason: known, because: of it", "needs a judge and a reason"),
    ],
)
def test_an_accepted_failure_that_nothing_could_match_is_refused(entry: str, said: str, tmp_path: Path) -> None:
    path = tmp_path / "known.yaml"
    path.write_text(f"busim-accepted: 1\naccepted:\n  - {{{entry}}}\n")
    with pytest.raises(UserError) as told:
        read_accepted(path)
    assert said in str(told.value)


def test_behind_an_accepted_failure_another_of_the_same_judge_is_found() -> None:
    run, found = campaign("first-bytes-are-mine", 40, first_only=False)
    first = found.failures[0]
    (kind,) = {one.kind for one in first.case.faults}
    accepted = Accepted(first.judge, kind, "known")
    space = space_of(run.plan)
    again = fuzz(run, space, seed=1, cases=40, known=known_faults((accepted,)))
    same = [one for one in again.failures if one.judge == first.judge]
    assert [accepted.covers(one) for one in same] == [True, False]
    assert kind not in {one.kind for one in same[1].case.faults}
    whole = fuzz(run, space, seed=1, cases=40, known=known_faults((accepted, Accepted(first.judge, "", "all"))))
    assert sum(one.judge == first.judge for one in whole.failures) == 1


def test_a_reason_may_be_a_number_and_a_program_that_ends_may_be_accepted(tmp_path: Path) -> None:
    path = tmp_path / "known.yaml"
    path.write_text("busim-accepted: 1\naccepted:\n  - {judge: stays-up, fault: late-reply, reason: 4711}\n")
    assert read_accepted(path) == (Accepted("stays-up", "late-reply", "4711"),)


def test_a_master_of_a_protocol_without_silence_waits_for_the_end_of_rubbish() -> None:
    """45 bytes of rubbish are ahead of the reply and still come when the time-out is over. Found by a campaign."""
    ahead = FaultEvent("malformed-reply", "c2", 1_783_000_000, 50_000_000, (("how", "ahead"), ("bytes", "45")))
    case = Case(1287580867, 2_100_000_000, (ahead,))
    (found,) = run_pure(HALLS["steps"], case, [all_judges()["quiet-line"]]).verdicts
    assert (found.outcome, found.effects > 0) == ("pass", True), found.why


def test_a_master_does_not_begin_to_ask_between_two_characters_of_rubbish() -> None:
    """A poll falls due in the middle of a burst that nobody asked for. Found by a campaign."""
    case = Case(1378295284, 2 * SECOND, (FaultEvent("stuck-transmitter", "c1", 1_796_000_000, 30_000_000, BABBLE),))
    (found,) = run_pure(HALLS["steps"], case, [all_judges()["quiet-line"]]).verdicts
    assert (found.outcome, found.effects > 0) == ("pass", True), found.why


def alone(kind: str, place: str, at: int, length: int, **values: str) -> tuple[FaultEvent, ...]:
    return (FaultEvent(kind, place, at * MS, length * MS, tuple(values.items())),)


class ConnectsLate(Link):
    """Connects after the first request, which is lost. Most cases were found so, and need its instants."""

    def start(self) -> None:
        self._kernel.at(0, self._connect)


# Cases on which the good master once failed a judge, each found by a campaign: what nobody can know is not held against
# a controller. The plan, whether it is behind a converter (`wire`: and prints nothing; `quick`: and the converter packs
# nothing; `linked`: and is connected before it asks), and the case.
BLAMELESS = {
    "acknowledged moves that the camera does not carry out": (
        "seldom", "",
        Case(
            698643428, 1800 * MS, alone("unapplied-settings", "c4", 1493, 250, delay="600 ms"),
            (Action(1559698494, "c4", "gain", 49), Action(1559698494, "c4", "red_black", 147)),
        ),
    ),
    "a request cut short whose rest comes with its repeat": (
        "steps", "wire-linked",
        Case(
            1054034218, 3000 * MS,
            (FaultEvent("request-cut-short", "box", 2862 * MS, 62_500_000, (("by", "2 ms"), ("jitter", "2 ms"))),),
            (Action(2858 * MS, "c4", "iris", 254),),
        ),
    ),
    "a second reply that is delivered in the instant of the next request": (
        "rates", "linked",
        Case(
            1451589622, 4000 * MS, alone("double-reply", "c3", 1600, 2000, later="600 ms"),
            (Action(3017 * MS, "c2", "green_black", 251), Action(3123 * MS, "c1", "red_gain", 26)),
        ),
    ),
    "replies to requests that came in pieces": (
        "steps", "linked", Case(1527378554, 7300 * MS, alone("gaps-in-frame", "box", 5300, 2000, gap="20 ms")),
    ),
    "replies in time to requests whose pieces took long": (
        "steps", "linked", Case(504165179, 3100 * MS, alone("gaps-in-frame", "box", 2785, 75, gap="12 ms")),
    ),
    "a reply that waited in its packet for others behind it": (
        "steps", "linked",
        Case(
            892490884, 3900 * MS,
            alone("late-reply", "c2", 2100, 2000, spread="45 ms", share="0.5", in_a_row="5")
            + alone("damaged-reply", "c4", 3200, 30),
        ),
    ),
    "a camera that failed while requests were swallowed": (
        "echo", "linked",
        Case(
            2099144842, 4300 * MS,
            alone("dead-camera", "c3", 3000, 500) + alone("translation-mode", "box", 3509, 60),
        ),
    ),
    "the same move twice, each with its repeats": (
        "seldom", "wire-linked",
        Case(
            1379812784, 2600 * MS, alone("sagging-supply", "wall", 2189, 600),
            (Action(2199625652, "c3", "red_black", 213), Action(2254338309, "c3", "red_black", 213)),
        ),
    ),
    "replies that went to another client": (
        "seldom", "quick",
        Case(
            2123312609, 12000 * MS,
            alone("second-client", "box", 1923, 8000, replies="mixed-up") + alone("dead-camera", "c2", 3200, 2000),
        ),
    ),
    "requests mixed with those of another client": (
        "seldom", "quick",
        Case(
            2123312609, 12000 * MS,
            alone("second-client", "box", 1900, 8000, requests="interleaved", replies="mixed-up"),
        ),
    ),
    "cameras that went offline while requests were held back": (
        "steps", "linked",
        Case(
            1685140551, 4400 * MS,
            alone("wireless-link", "box", 2891, 600, bad="45 ms") + alone("wrong-port-settings", "box", 3395, 2000),
            (Action(3084 * MS, "c4", "iris", 951),),
        ),
    ),
    "a reply to a request that was held back": (
        "restless", "linked",
        Case(
            1281599609, 2600 * MS,
            alone("delayed-ack", "box", 1800, 600)
            + alone("late-reply", "c1", 1900, 300, by="20 ms", spread="150 ms", share="0.1"),
        ),
    ),
    "a move behind one that noise has repeated": (
        "restless", "",
        Case(
            1750320171, 4900 * MS,
            (FaultEvent("ground-shift", "wall", 2800 * MS, 2000 * MS, (("rate", "1 /s"), ("length", "2 s"))),),
            (Action(3796 * MS, "c4", "blue_gain", 34), Action(3815 * MS, "c2", "red_black", 54)),
        ),
    ),
    "an older reply in one packet with the newer one": (
        "restless", "linked", Case(7, 12 * SECOND, alone("late-reply", "c2", 1500, 600, spread="600 ms")),
    ),
    "connections that end before they carried anything": (
        "rates", "linked", Case(415682922, 9900 * MS, alone("dropped-connections", "box", 1900, 8000, rate="5 /s")),
    ),
    "a refusal by a gateway between two failures": (
        "seldom", "linked",
        Case(
            1245490342, 3800 * MS,
            alone("late-reply", "c4", 1200, 2000) + alone("busy-gateway", "box", 1700, 600, wait="7 ms"),
            (Action(2582 * MS, "c2", "green_black", 255),),
        ),
    ),
    "noise that makes another sound reply": (
        "steps", "", Case(7, 12 * SECOND, alone("ground-shift", "wall", 1500, 8000, loss="0.1")),
    ),
    "a converter that loses all bytes": (
        "restless", "wire-linked", Case(167779157, 8000 * MS, alone("lost-bytes", "box", 1400, 8000, share="1")),
    ),
    "a stop bit that no receiver can tell from silence": (
        "restless", "", Case(1195380921, 3000 * MS, alone("wrong-format", "c2", 2800, 150, format="8N2")),
    ),
    "two with one ID after a factory reset": (
        "restless", "", Case(346056090, 9700 * MS, alone("factory-reset", "c2", 3073, 30)),
    ),
    "requests of a second master": (
        "rates", "box", Case(376967283, 9400 * MS, alone("second-master", "box", 7300, 2000)),
    ),
    "a gateway that fails a command": (
        "rates", "box",
        Case(
            1673551731, 6400 * MS,
            alone("busy-gateway", "box", 6073, 200, how="target-failed", wait="150 ms", share="0.5"),
            (Action(6133532416, "c1", "green_black", 73), Action(6133532416, "c3", "gain", 12)),
        ),
    ),
    "another camera that answers": (
        "steps", "wire",
        Case(
            954985586, 4500 * MS,
            alone("answers-any-id", "c4", 1759, 8000, answers="others", share="1")
            + alone("late-reply", "c1", 4074, 200, share="0.5", in_a_row="5"),
            (Action(2595 * MS, "c1", "gain", 20),),
        ),
    ),
    "a command to a camera that is offline": (
        "seldom", "box",
        Case(
            173336057, 11600 * MS, alone("damaged-reply", "c2", 2700, 8000),
            (Action(11299 * MS, "c2", "red_black", 53),),
        ),
    ),
    "replies that a USB adapter holds back": (
        "seldom", "box",
        Case(
            101752934, 3000 * MS, alone("usb-latency", "box", 2347, 500, timer="20 ms"),
            (Action(2810 * MS, "c2", "blue_gain", 15),),
        ),
    ),
    "requests that a gateway turns into others": (
        "rates", "box", Case(1637188665, 12_000 * MS, alone("translation-mode", "box", 4800, 8000)),
    ),
    "a steady level has no characters": (
        "rates", "", Case(949258852, 4200 * MS, alone("stuck-transmitter", "c2", 3849, 125)),
    ),
    "polls of another client": (
        "rates", "wire", Case(1729000421, 1600 * MS, alone("second-client", "box", 1259, 100, rate="20 /s")),
    ),
    "all cameras offline but one": (
        "restless", "wire",
        Case(
            24463466, 6000 * MS,
            alone("request-cut-short", "box", 1753, 8000, jitter="2 ms", share="0.5")
            + alone("dropped-connections", "box", 4000, 500),
        ),
    ),
    "requests that wait for an acknowledgement": (
        "rates", "wire",
        Case(1338702612, 2300 * MS, alone("swapped-pair", "c2", 1300, 1000) + alone("delayed-ack", "box", 2000, 100)),
    ),
    "a reply that failed for the controller though it was sound on the line": (
        "rates", "",
        Case(1126667871, 4900 * MS, alone("stuck-transmitter", "c1", 2543, 4000, works="150 ms", rests="20 ms")),
    ),
    "cameras that were offline without a connection": (
        "rates", "wire",
        Case(
            1486153790, 8000 * MS,
            alone("dead-camera", "c4", 2319, 2000) + alone("converter-reboot", "box", 3139, 200, down="2 s"),
            (Action(6536 * MS, "c2", "red_gain", 11),),
        ),
    ),
    "a line on which somebody babbles": (
        "seldom", "", Case(1019732818, 3375 * MS, alone("stuck-transmitter", "c1", 2200, 1000, mode="babble")),
    ),
    "another camera that answers late under the ID that is asked": (
        "rates", "",
        Case(
            1350923344, 4000 * MS,
            alone("late-reply", "c1", 1515, 600, spread="45 ms", share="1")
            + alone("wrong-id-reply", "c1", 1611, 200, share="1", then_right="yes", later="12 ms"),
            (Action(1885 * MS, "c2", "gain", 57), Action(3172 * MS, "c2", "gain", 2)),
        ),
    ),
    "a poll that is seen twice before a camera is dead": (
        "rates", "wire", Case(2117116418, 12_000 * MS, alone("dead-camera", "c4", 1200, 4000)),
    ),
    "a converter that keeps a client and does not serve it": (
        "rates", "wire",
        Case(
            1554824899, 6000 * MS,
            alone("ignored-clients", "box", 2800, 2000)
            + alone("dropped-connections", "box", 2857, 600, rate="5 /s", how="close"),
            (Action(5294 * MS, "c4", "gain", 17),),
        ),
    ),
    "requests that a slow converter holds back": (
        "restless", "wire",
        Case(
            1486153790, 6000 * MS, alone("slow-converter", "box", 3600, 2000, by="150 ms", spread="7 ms"),
            (Action(4072283020, "c4", "red_gain", 28),),
        ),
    ),
    "a late reply with rubbish behind it": (
        "restless", "wire",
        Case(
            225241349, 6100 * MS,
            alone("malformed-reply", "c3", 2700, 2000) + alone("dead-camera", "c1", 3000, 2000)
            + alone("late-reply", "c3", 3541, 2000, by="45 ms", spread="2 s", share="0.5"),
        ),
    ),
    "a line on which somebody babbles for as long as a case": (
        "seldom", "", Case(1422938917, 9000 * MS, alone("stuck-transmitter", "c2", 1600, 8000, mode="babble")),
    ),
    "a move while somebody babbles": (
        "seldom", "",
        Case(
            1881549222, 4500 * MS, alone("stuck-transmitter", "c2", 2544, 2000, mode="babble"),
            (Action(3945 * MS, "c2", "red_gain", 60),),
        ),
    ),
    "a camera whose right reply comes too late": (
        "seldom", "",
        Case(
            352845851, 9000 * MS,
            alone("wrong-id-reply", "c4", 1300, 8000, then_right="yes") + alone("dead-camera", "c1", 2701, 600),
        ),
    ),
    "a reply from behind a cut": (
        "echo", "",
        Case(
            465008509, 4300 * MS,
            alone("early-reply", "c1", 2432, 8000) + alone("late-reply", "c4", 2920, 2000, by="150 ms")
            + alone("factory-reset", "c2", 3384, 2000) + alone("cut-cable", "wall", 4046, 60, position="3"),
            (Action(3704028956, "c4", "blue_black", 252), Action(3704028956, "c4", "gain", 15)),
        ),
    ),
    "a camera that answers for a dead one after a factory reset": (
        "echo", "",
        Case(
            2098370855, 11_700 * MS, alone("factory-reset", "c2", 1900, 50) + alone("dead-camera", "c1", 2900, 4000),
            (Action(10_726 * MS, "c1", "blue_gain", 243),),
        ),
    ),
    "a gateway that answers everything itself": (
        "rates", "wire", Case(1195943575, 8000 * MS, alone("busy-gateway", "box", 1400, 8000, share="1")),
    ),
    "a late reply while another camera holds the pair at space": (
        "rates", "",
        Case(
            465008509, 3375 * MS,
            alone("late-reply", "c4", 2920, 250, by="150 ms")
            + alone("stuck-transmitter", "c3", 3294, 600, pause="2 ms", rests="45 ms"),
        ),
    ),
    "a reply to an earlier repeat that a quick converter holds back": (
        "rates", "quick",
        Case(
            215352656, 2200 * MS, alone("merged-stream", "box", 1630, 600), (Action(1910 * MS, "c1", "blue_gain", 111),)
        ),
    ),
    "a sound reply at another baud, whose end no receiver of the line hears": (
        "seldom", "", Case(715205740, 3800 * MS, (FaultEvent("wrong-baud", "c3", 3530 * MS, 37_500_000),)),
    ),
    "an echo behind a late reply": (
        "echo", "box",
        Case(
            437394544, 4400 * MS,
            alone("unplugged-adapter", "box", 1398, 300, back="600 ms") + alone("late-reply", "c2", 2946, 2000)
            + alone("late-reply", "c1", 3832, 2000, by="2 s", in_a_row="3")
            + alone("idle-noise", "wall", 3867, 8000, rate="20 /s"),
            (
                Action(1386 * MS, "c2", "gain", 36), Action(3902 * MS, "c3", "red_black", 228),
                Action(4169 * MS, "c1", "red_black", 80),
            ),
        ),
    ),
    "late replies of a converter that is slow both ways": (
        "echo", "box",
        Case(
            437394544, 5400 * MS,
            alone("late-reply", "c1", 3832, 500, by="2 s", in_a_row="3")
            + alone("slow-converter", "box", 3994, 2000, spread="2 ms"),
            (Action(4169 * MS, "c1", "red_black", 80), Action(4709 * MS, "c3", "gain", 16)),
        ),
    ),
    "a reply to a connection that the controller has just given up": (
        "steps", "box", Case(338133428, 11_900 * MS, alone("hot-plug", "c2", 3000, 37, reach="3", share="1")),
    ),
    "two replies in one burst, the first of which is taken at its end": (
        "steps", "", Case(442113943, 5500 * MS, alone("late-reply", "c2", 4173, 500, spread="600 ms")),
    ),
    "a reply with zeros behind it, taken at its end": (
        "steps", "quick", Case(1742389906, 2300 * MS, (FaultEvent("malformed-reply", "c3", 2000 * MS, 31_250_000),)),
    ),
    "a camera that is called offline because requests come late": (
        "rates", "box",
        Case(322498463, 9000 * MS, alone("delayed-ack", "box", 2800, 8000) + alone("hot-plug", "c1", 7600, 30)),
    ),
    "cameras that are called offline after a stuck transmitter because requests come late": (
        "restless", "box",
        Case(
            1820710521, 5500 * MS,
            alone("delayed-ack", "box", 2200, 4000) + alone("stuck-transmitter", "c2", 4200, 30, mode="mark"),
        ),
    ),
    "a second that began when the controller sent, before its request was on the line": (
        "restless", "box",
        Case(
            784182270, 3900 * MS,
            alone("lost-reply", "c1", 2648, 2000) + alone("first-reply-fails", "c2", 2945, 200, idle="7 ms"),
            (Action(3391 * MS, "c4", "green_black", 224),),
        ),
    ),
    "requests that a wireless link holds back": (
        "rates", "quick", Case(579155874, 10_100 * MS, alone("wireless-link", "box", 8307, 1000, good="600 ms")),
    ),
    "an answer to another client that is under way when the controller asks": (
        "restless", "box",
        Case(
            1967168593, 4400 * MS,
            alone("wrong-id-reply", "c1", 3109, 600, share="1", then_right="no")
            + alone("second-master", "box", 3732, 600, rate="1 /s", listens="yes"),
            (
                Action(2123 * MS, "c3", "red_gain", 6), Action(3160 * MS, "c2", "blue_gain", 173),
                Action(3287 * MS, "c3", "green_black", 233), Action(3539008772, "c1", "red_gain", 95),
                Action(3539008772, "c2", "red_black", 111), Action(3539008772, "c3", "iris", 596),
                Action(3672 * MS, "c3", "green_black", 117),
            ),
        ),
    ),
    "a setting acknowledged after its repeat went out, behind an adapter's timer": (
        "restless", "linked",
        Case(
            1936205369, 3600 * MS, alone("usb-latency", "box", 3293, 150),
            (Action(3329 * MS, "c3", "red_gain", 153),),
        ),
    ),
    "another setting behind it, on a line with rests": (
        "seldom", "linked",
        Case(1936205369, 4100 * MS, alone("usb-latency", "box", 3293, 600), (Action(3831 * MS, "c1", "iris", 217),)),
    ),
    "cameras that may be offline while another client holds up their replies": (
        "rates", "linked",
        Case(
            548479524, 8900 * MS,
            (
                *alone("slow-client", "box", 1378, 8000, buffer="3"),
                *alone("dead-camera", "c1", 8374, 2000),
            ),
        ),
    ),
    "a move while the computer stands still": (
        "steps", "wire-linked",
        Case(
            117862677, 10500 * MS,
            (
                FaultEvent(
                    "stalled-host", "box", 8500 * MS, 2000 * MS,
                    (("rate", "1 /s"), ("length", "600 ms"), ("spread", "20 ms")),
                ),
            ),
            (Action(9322 * MS, "c1", "iris", 3, True),),
        ),
    ),
    "noise that leaves no quiet between two polls": (
        "rates", "",
        Case(809603944, 5600 * MS, alone("ground-shift", "wall", 1262, 4000, rate="1 /s", loss="1")),
    ),
    "an answer that fits the request of another client too": (
        "restless", "linked",
        Case(
            1081494031, 3000 * MS,
            alone("second-client", "box", 2543, 300, rate="20 /s", bus_id="3", replies="mixed-up"),
        ),
    ),
    "a packet in so many pieces that the last is late by many pauses": (
        "steps", "linked",
        Case(1514093632, 5500 * MS, alone("split-stream", "box", 4700, 1000, how="bytes", share="0.1")),
    ),
    "a late reply whose packet waited for another behind it": (
        "restless", "linked",
        Case(
            561446389, 3600 * MS,
            (
                *alone("late-reply", "c4", 1355, 600, spread="2 s"),
                *alone("lost-reply", "c3", 1559, 1000, share="1", of="all"),
                *alone("cut-reply", "box", 2196, 200, how="close", share="0.5"),
                *alone("wrong-id-reply", "c2", 2335, 2000, then_right="yes", later="12 ms"),
            ),
            (
                Action(1058 * MS, "c3", "red_black", 239), Action(1563 * MS, "c2", "blue_black", 153),
                Action(1721 * MS, "c2", "red_gain", 18), Action(1842 * MS, "c2", "green_black", 79),
            ),
        ),
    ),
    "a move after one that is on the wire and has to be repeated": (
        "echo", "",
        Case(
            335730541, 4500 * MS,
            (FaultEvent("ground-shift", "wall", 2400 * MS, 1000 * MS, (("rate", "1 /s"), ("length", "2 s"))),),
            (Action(3403 * MS, "c3", "blue_black", 200), Action(3797 * MS, "c3", "red_black", 53)),
        ),
    ),
    "a late reply that came while the next request to its camera was on its way": (
        "steps", "linked",
        Case(
            658806021, 6600 * MS,
            (
                *alone("double-reply", "c3", 3900, 2000, share="0.1"),
                *alone("wrong-id-reply", "c2", 4399, 8000, then_right="yes", later="150 ms"),
                *alone("late-reply", "c1", 5286, 2000, by="12 ms", share="0.1", in_a_row="5"),
            ),
        ),
    ),
    "a request inside a reply at a much lower baud, which has pauses to the master": (
        "steps", "",
        Case(
            1798859932, 4400 * MS,
            (*alone("late-reply", "c3", 1343, 4000, by="2 ms"), *alone("wrong-baud", "c3", 4119, 2000)),
        ),
    ),
    "two late replies in a row, each behind one that met its request": (
        "restless", "",
        Case(
            1111042939, 10900 * MS,
            (
                *alone("double-reply", "c4", 2870, 4000, share="0.5", later="2 ms"),
                *alone("double-reply", "c2", 3067, 100, share="0.1"),
                *alone("wrong-id-reply", "c2", 4274, 2000, then_right="no", later="12 ms"),
                *alone("late-reply", "c1", 6626, 8000, by="150 ms", spread="150 ms"),
                *alone("dead-camera", "c4", 7107, 2000),
            ),
            (Action(2272 * MS, "c1", "blue_gain", 154), Action(9645 * MS, "c4", "blue_gain", 243)),
        ),
    ),
    "polls that a converter's computer held back while a camera was dead": (
        "echo", "linked",
        Case(
            1142024788, 12000 * MS,
            (
                FaultEvent("dead-camera", "c4", 1302 * MS, 62_500_000),
                FaultEvent(
                    "stalled-host", "box", 2937 * MS, 8000 * MS,
                    (("rate", "1 /s"), ("length", "7 ms"), ("spread", "2 s")),
                ),
            ),
        ),
    ),
    "a camera given up because the last of its requests were held back": (
        "restless", "wire-linked",
        Case(
            71399729, 5400 * MS,
            (
                *alone("dead-camera", "c4", 1539, 1000),
                *alone("delayed-ack", "box", 2691, 2000, delay="45 ms"),
                *alone("stuck-transmitter", "c3", 2820, 20, mode="babble", pause="7 ms"),
            ),
            (
                Action(1301 * MS, "c3", "blue_black", 63), Action(1978 * MS, "c4", "red_black", 156),
                Action(2815 * MS, "c3", "blue_gain", 84), Action(3484 * MS, "c3", "red_black", 146),
            ),
        ),
    ),
    "a second reply whose driver lets go before it begins": (
        "rates", "",
        Case(
            751177535, 5300 * MS,
            (
                *alone("double-reply", "c1", 2100, 4000, later="45 ms"),
                *alone("driver-released-early", "c1", 4719, 4000, jitter="7 ms", share="0.5"),
            ),
        ),
    ),
    "a pause counted from characters that a collision has put out of step": (
        "restless", "",
        Case(
            668154261, 3000 * MS,
            (
                *alone("late-reply", "c1", 1900, 600, by="600 ms"),
                *alone("wrong-id-reply", "c1", 1900, 1000),
                *alone("double-reply", "c4", 2940, 200, later="20 ms"),
            ),
        ),
    ),
    "a sound reply that two colliding ones made by chance": (
        "steps", "linked",
        Case(
            1844940245, 8300 * MS,
            (
                FaultEvent(
                    "second-master", "box", 6065 * MS, 2000 * MS,
                    (("rate", "20 /s"), ("bus_id", "3"), ("key", "1")),
                ),
            ),
        ),
    ),
    "a move while noise leaves an idle master no quiet": (
        "seldom", "quick",
        Case(
            1792341731, 6000 * MS,
            (
                *alone("hot-plug", "c1", 2300, 30, reach="3", share="0.5"),
                FaultEvent("ground-shift", "wall", 2672 * MS, 2000 * MS, (("rate", "1 /s"), ("length", "2 s"))),
            ),
            (Action(4739 * MS, "c3", "red_black", 109),),
        ),
    ),
    "a request into noise that a loose joint hid for a moment": (
        "seldom", "",
        Case(
            507796064, 10000 * MS,
            (
                *alone("stuck-transmitter", "c3", 3400, 8000, mode="babble"),
                *alone("intermittent-joint", "wall", 7500, 2000, rate="1 /s"),
            ),
        ),
    ),
    "a value heard in a collision whose last character another station has later": (
        "steps", "", Case(432856363, 2300 * MS, alone("double-reply", "c3", 1389, 100, later="600 ms")),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BLAMELESS)
def test_the_good_master_is_not_blamed_for_what_nobody_can_know(name: str) -> None:
    hall, behind, case = BLAMELESS[name]
    plan = HALLS[hall] if not behind else behind_a_box(HALLS[hall], *([QUICK] if behind == "quick" else []))
    link = Link if "linked" in behind else ConnectsLate
    run = PureRun(plan, JUDGES, link=link, wire_only=behind in ("wire", "wire-linked", "quick"))
    verdicts = run(case).verdicts
    assert [(one.judge, one.why) for one in verdicts if one.outcome == FAIL] == []
    assert verdicts[0].effects


def test_a_saved_failure_of_form_1_is_read_or_refused_by_its_faults(tmp_path: Path) -> None:
    run, found = campaign("hasty-offline", 40)
    path = save(tmp_path, run, found.failures[0])
    entry = json.loads(path.read_text())
    case = case_of(entry)
    entry["busim-failure"] = 1
    entry["faults"] = [[*one[:4], 1, one[4]] for one in entry["faults"]]  # they had an amount
    path.write_text(json.dumps(entry))
    assert load(path).case == case
    entry["faults"][0][0] = "junk-before"
    path.write_text(json.dumps(entry))
    with pytest.raises(UserError, match="a fault that busim no longer has") as told:
        load(path)
    assert "'junk-before'" in str(told.value)


def test_the_whole_catalogue_is_drawn_but_for_what_no_controller_can_pass() -> None:
    assert set(space_of(behind_a_box(HALLS["rates"])).kinds) == all_faults().keys() - NOT_DRAWN.keys()
    assert NOT_DRAWN.keys() < all_faults().keys()
    drawing = Drawing(space_of(behind_a_box(HALLS["rates"])), Chance(1).stream("drawn"))
    drawn = {one.kind for _ in range(80) for one in drawing.fresh().faults}
    assert drawn == set(drawing.space.kinds), "each is dealt before any is dealt twice"


# Broken masters that no record of the line shows behind a converter: what they call done is not on the wire.
NEEDS_A_WORD = {"success-before-acknowledge"}
# Those whose missing pause a slow converter makes up for: packing and both latencies last longer than the silence.
NEEDS_A_QUICK_BOX = {
    "no-gap": Case(1, 2 * SECOND),
    "no-drain": Case(750625942, 5900 * MS, alone("stuck-transmitter", "c4", 5600, 20, mode="babble")),
}
# Those whose polls of dead cameras harm nobody on a line with time to spare.
NEEDS_A_BUSY_LINE = {
    "never-offline": Case(7, 12 * SECOND, tuple(alone("dead-camera", f"c{n}", 1500, 18_000)[0] for n in (2, 3, 4))),
}
WORDS = ("attribution", "no-silent-success", "nothing-corrupt", "split-invariance", "truthful-status")


def on_tcp(name: str, cases: int) -> Campaign:
    """A campaign against a broken master behind a converter, judged as a program that prints nothing."""
    hall = HALLS["restless" if name in NEEDS_A_BUSY_LINE else SHOWN[name][0]]
    plan = behind_a_box(hall, *([QUICK] if name in NEEDS_A_QUICK_BOX else []))
    run = PureRun(plan, JUDGES, BROKEN[name].make, wire_only=True, link=Link)
    return fuzz(run, space_of(plan), seed=1, cases=cases, first_only=True)


@pytest.mark.parametrize("name", ["wrong-id-accepted", "two-outstanding"])
def test_a_program_that_speaks_tcp_and_prints_nothing_is_found_by_the_wire(name: str) -> None:
    found = on_tcp(name, 16)
    assert found.failures
    assert min(len(failure.case.faults) for failure in found.failures) <= MOST_FAULTS
    for judge in WORDS:
        assert found.outcomes[judge]["pass"] == found.outcomes[judge]["fail"] == 0, "it has no word to judge"


def test_what_only_the_word_of_a_program_tells_is_inconclusive_without_a_hook() -> None:
    """On the wire this master is the good one, whatever it calls done."""
    (name,) = NEEDS_A_WORD
    hall, case = SHOWN[name]
    plan = behind_a_box(HALLS[hall])
    verdicts = PureRun(plan, JUDGES, BROKEN[name].make, wire_only=True, link=Link)(case).verdicts
    assert [(one.judge, one.why) for one in verdicts if one.outcome == FAIL] == []
    assert {one.judge: (one.outcome, one.why) for one in verdicts if one.judge in WORDS} == dict.fromkeys(
        WORDS, ("inconclusive", "no hook")
    )


@pytest.mark.parametrize("name", NEEDS_A_QUICK_BOX)
def test_a_missing_pause_shows_behind_a_quick_converter_and_a_slow_one_keeps_it_by_itself(name: str) -> None:
    """MODBUS over Serial Line V1.02, p. 13: 1.75 ms above 19200 Bd. The slow one has 4 ms of packing and latency."""
    case, broken = NEEDS_A_QUICK_BOX[name], BROKEN[name].make
    quick, slow = behind_a_box(HALLS["rates"], QUICK), behind_a_box(HALLS["rates"])
    for make, plan, outcome in ((broken, quick, "fail"), (Master, quick, "pass"), (broken, slow, "pass")):
        (verdict,) = PureRun(plan, (all_judges()["quiet-line"],), make, wire_only=True, link=Link)(case).verdicts
        assert verdict.outcome == outcome, (make, verdict.why)


@pytest.mark.parametrize("name", NEEDS_A_BUSY_LINE)
def test_polls_of_dead_cameras_show_on_the_wire_where_they_take_the_time_of_others(name: str) -> None:
    case, broken = NEEDS_A_BUSY_LINE[name], BROKEN[name].make
    busy, spare = behind_a_box(HALLS["restless"]), behind_a_box(HALLS["rates"])
    for make, plan, outcome in ((broken, busy, "fail"), (Master, busy, "pass"), (broken, spare, "pass")):
        (verdict,) = PureRun(plan, (all_judges()["fairness"],), make, wire_only=True, link=Link)(case).verdicts
        assert verdict.outcome == outcome, (make, verdict.why)


def test_all_cameras_but_one_are_dead_together_in_some_cases() -> None:
    drawing = Drawing(space_of(HALLS["rates"]), Chance(1).stream("campaign"))
    cases = [drawing.fresh() for _ in range(400)]
    dead = [{one.target for one in case.faults if one.kind == "dead-camera"} for case in cases]
    assert {len(one) for one in dead} == {0, 1, 2, 3}


# -- the long runs ----------------------------------------------------------------------------------------------


@pytest.mark.long
@pytest.mark.timeout(600)
@pytest.mark.parametrize("name", BROKEN)
def test_each_broken_master_is_found_by_a_campaign(name: str) -> None:
    _, found = campaign(name, 400)
    assert {failure.judge for failure in found.failures} & set(BROKEN[name].found_by)
    assert min(len(failure.case.faults) for failure in found.failures) <= MOST_FAULTS


@pytest.mark.long
@pytest.mark.timeout(600)
@pytest.mark.parametrize("name", sorted(BROKEN.keys() - NEEDS_A_WORD))
def test_each_broken_master_on_tcp_is_found_by_the_wire_alone(name: str) -> None:
    found = on_tcp(name, 400)
    assert found.failures
    assert min(len(failure.case.faults) for failure in found.failures) <= MOST_FAULTS


@pytest.mark.long
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("plan", HALLS)
def test_the_good_master_passes_a_thousand_cases_on_each_plan(plan: str) -> None:
    _, found = campaign(plan, 1000, seed=5, first_only=False)
    assert [(failure.judge, failure.verdict.why, failure.case) for failure in found.failures] == []
    assert found.effects > 900
    assert all(FAIL not in {k for k, n in counts.items() if n} for counts in found.outcomes.values())
    assert max(case.length for case in found.kept) >= 12 * SECOND
