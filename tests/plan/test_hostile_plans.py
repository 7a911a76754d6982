"""Hostile plans, and files that are no plans: findings or one clear error, within two seconds and 300 MB."""

from __future__ import annotations

import contextlib
import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import pytest
from bad_plans import GOOD, SITE
from bare_yaml import bare
from hypothesis import given, settings
from hypothesis import strategies as st
from places import TESTS, TOP

from busim.foundation.diagnostics import Findings
from busim.foundation.yaml_source import MOST_BYTES, MOST_VALUES
from busim.plan import read_text, spelled

SECONDS = 2
MEGABYTES = 238  # beyond the 62 of the test's own imports: 300 in all


def _many(entry: str, values: int) -> str:
    """As many entries as there may be values for; `values`: how many one entry has."""
    count = min((MOST_VALUES - 400) // values, (MOST_BYTES - 3000) // (len(entry) + 4))
    return "".join(entry.replace("@", str(number)) for number in range(count))


ROOM = MOST_BYTES - len(GOOD) - 100
HOSTILE = {
    "too many bytes": "a" * (MOST_BYTES + 1),
    "one long text": f"{GOOD}places: [{{name: x, note: '{'n' * (ROOM - 100)}'}}]\n",
    "comments": GOOD + "#" * ROOM,
    "empty lines": GOOD + "\n" * ROOM,
    "spaces": GOOD + "x:" + " " * (ROOM - 10) + "1\n",
    "words without end": GOOD + "x: [" + "a " * (ROOM // 2 - 10) + "]",
    "an open quote": GOOD + "x: '" + "''" * (ROOM // 2 - 10),
    "deep lists": GOOD + "places: " + "[" * (ROOM - 20),
    "deep mappings": GOOD + "places: " + "{a: " * (ROOM // 4 - 10),
    "dashes": GOOD + "- " * (ROOM // 2),
    "an anchor bomb": "a: &a [x, x, x]\n" + "".join(f"b{n}: &b{n} [*a, *a, *a]\n" for n in range(100)),
    "a merge bomb": "a: {<<: [{b: 1}, {b: 2}]}\n",
    "a tag": "places: !!python/object/apply:os.system [x]\n",
    "one key very often": GOOD + "name: x\n" * ((MOST_VALUES - 400) // 2),
    "one key often in a mapping": f"{GOOD}places:\n  - {{{'name: x, ' * (MOST_VALUES - 400)}}}\n",
    "spares without end": GOOD + "spares:\n" + _many("  - {name: s@}\n", 2),
    "spares nowhere": GOOD + "spares:\n" + _many("  - {name: s@, place: q@}\n", 3),
    "spares of unknown keys": GOOD + "spares:\n" + _many("  - {nme: s@, plaice: q@}\n", 3),
    "feeding nobody": GOOD + "supplies:\n  - {name: s, voltage: 5 V, feeds: [" + _many("x@,", 1) + "]}\n",
    "feeding one for ever": GOOD + "supplies:\n  - {name: s, voltage: 5 V, feeds: [" + _many("finish,", 1) + "]}\n",
    "silenced without end": GOOD + "silenced:\n" + _many("  - {rule: a, at: q@, reason: b}\n", 4),
    "coordinates without end": GOOD + "places: [{name: x, at: [" + _many("1 m,", 1) + "]}]\n",
    "a bias everywhere": GOOD.replace("    format: 8N1\n", f"    format: 8N1\n    bias: {{at: [{_many('q@,', 1)}]}}\n"),
    "digits without end": GOOD + "supplies: [{name: s, voltage: " + "9" * 500_000 + " V}]\n",
    "an exponent without end": GOOD + "supplies: [{name: s, voltage: 1e" + "9" * 30 + " V}]\n",
    "characters of other scripts": GOOD + "places: [{name: '\u202e\u0661 m'}, {name: '\ud7ff'}]\n",
    "half a character": GOOD + 'places: [{name: "\\ud800"}]\n',
    "no character": GOOD + 'places: [{name: "\\UFFFFFFFF"}]\n',
}


def _read(text: str) -> float:
    """CPU seconds that reading takes. Anything but a plan or what a user can mend comes out as it is."""
    began = time.process_time()
    with contextlib.suppress(Findings):
        read_text(text)
    return time.process_time() - began


@pytest.mark.parametrize("name", HOSTILE)
def test_what_is_no_plan_is_told_in_time(name: str) -> None:
    """Two seconds, or where the machine is slow three times what the YAML parser alone takes for the text."""
    took = _read(HOSTILE[name])
    assert took < SECONDS or took < 3 * bare(HOSTILE[name])


def test_no_file_takes_the_memory_of_the_machine() -> None:
    here = Path(__file__)
    program = "import test_hostile_plans as here; here.memory()"
    environment = {**os.environ, "PYTHONPATH": f"{here.parent}{os.pathsep}{TESTS}{os.pathsep}{TOP}"}
    said = subprocess.run([sys.executable, "-c", program], env=environment, capture_output=True, text=True, check=True)
    assert int(said.stdout) < MEGABYTES


def memory() -> None:
    """Reads the largest ones in another process, and prints the peak of additional memory in MB."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for name in ("spares without end", "feeding nobody", "one long text"):
        _read(HOSTILE[name])
    sys.stdout.write(str((resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) // 1024))


QUANTITIES = ("47..49 V", "120 W", "3.15 A", "30 m", "AWG 14", "12 m, -4 m", "44..57 V", "poe_class: 4", "count: 2")
PIECES = st.lists(
    st.sampled_from([*"0123456789", "..", "/", " ", "-", "e", "_", ".", "V", "W", "mm2", "AWG", "µ", "Ω", "ohm", "٣",
                     "\uff11", "\u202e", "m", "s", "p", "i", "{", "[", ",", "'", ":", "#", "&", "*", "!", "|"]),
    max_size=8,
).map("".join)  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(QUANTITIES), PIECES)
def test_any_odd_quantity_of_the_site_is_read_or_told(old: str, new: str) -> None:
    text = GOOD + SITE
    assert old in text
    with contextlib.suppress(Findings):
        assert spelled(read_text(text.replace(old, new))).yaml()
