"""Bus IDs that change places: an order in which no two cameras ever share an ID, and its cautions."""

from __future__ import annotations

from itertools import permutations, product
from pathlib import Path

import pytest

from busim.analysis.check import SOUND
from busim.analysis.diff import diff
from busim.analysis.diff.renumbering import moves_in_order
from busim.cli import plan_set
from busim.foundation.errors import UserError
from busim.plan import read_text


def test_no_two_cameras_have_one_id_at_any_moment_and_each_gets_its_own() -> None:
    for old, new in product(permutations(range(1, 5)), repeat=2):
        now, wanted = dict(zip("abcd", old, strict=True)), dict(zip("abcd", new, strict=True))
        for name, was, to in moves_in_order(now, wanted):
            assert now[name] == was
            now[name] = to
            assert len(set(now.values())) == len(now)
        assert now == wanted


def test_two_cameras_that_swap_their_ids_need_a_third_id_for_the_time_being() -> None:
    assert moves_in_order({"a": 2, "b": 3}, {"a": 3, "b": 2}) == [("a", 2, 1), ("b", 3, 2), ("a", 1, 3)]
    swapped = SOUND.replace("left, bus_id: 2", "left, bus_id: x").replace("right, bus_id: 3", "right, bus_id: 2")
    found = diff(read_text(SOUND), read_text(swapped.replace("bus_id: x", "bus_id: 3")))
    (order,) = [one.text for one in found.said if "in this order" in one.text]
    # 1 is their factory ID, at which a new camera would answer too, and 4 is boulder mats
    assert "'boulder left' from 2 to 5, then 'boulder right' from 3 to 2, then 'boulder left' from 5 to 3" in order


def test_work_on_site_comes_with_its_caution_and_paper_does_not() -> None:
    wired = diff(read_text(SOUND), read_text(SOUND.replace("after: 14 m", "after: 15 m")))
    assert "measure that it is dead" in wired.caution
    assert wired.as_json()["caution"] == wired.caution
    paper = diff(read_text(SOUND), read_text(SOUND.replace("moves: 1 /s", "moves: 2 /s")))
    assert paper.said
    assert paper.caution == ""


def test_a_larger_fuse_without_a_reason_is_named_as_not_to_be_fitted() -> None:
    raised = SOUND.replace("fuse: 5 A", "fuse: 6.3 A")
    assert any("DO NOT FIT" in one.text for one in diff(read_text(SOUND), read_text(raised)).said)
    said = raised.replace("fuse: 6.3 A", "fuse: 6.3 A\n    fuse_reason: AWG 14 checked by A. Sparks")
    assert not any("DO NOT FIT" in one.text for one in diff(read_text(SOUND), read_text(said)).said)


@pytest.mark.parametrize(
    ("values", "caution"),
    [
        (["supplies[0].fuse=6.3 A", "supplies[0].fuse_reason=AWG 14 checked"], True),
        (["supplies[0].fuse=3.15 A"], True),
        (["lines[0].order[2].gauge=AWG 22"], True),
        (["cameras[0].bus_id=9"], False),
    ],
)
def test_plan_set_shows_the_caution_where_a_change_can_hurt(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], values: list[str], caution: bool
) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text(SOUND)
    plan_set.command(str(path), values)
    told = capsys.readouterr().err
    assert ("measure that it is dead" in told) is caution
    assert ("licensed electrician" in told) is caution


def test_plan_set_raises_no_fuse_without_a_reason(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text(SOUND)
    with pytest.raises(UserError, match="needs a reason"):
        plan_set.command(str(path), ["supplies[0].fuse=6.3 A"])
    assert path.read_text() == SOUND
