"""Short slices of the processor: for the session alone, as far as the system grants them."""

from __future__ import annotations

import ctypes
import platform
import subprocess
import sys
from pathlib import Path

import pytest

from busim.runtime.session.slices import short_slices

SCHED = Path("/proc/thread-self/sched")
RELEASE = tuple(int(part) for part in platform.release().split(".")[:2]) if sys.platform == "linux" else (0, 0)
GRANTED = 100_000  # ns


def slice_now(text: str) -> int | None:
    """ns, None where the system does not say."""
    found = [line for line in text.splitlines() if line.startswith("se.slice")]
    return int(found[0].rpartition(":")[2]) if found else None


def told() -> str:
    return SCHED.read_text() if SCHED.exists() else ""


def test_a_session_has_short_slices_and_what_it_starts_has_not() -> None:
    before = slice_now(told())
    with short_slices():
        inside = slice_now(told())
        program = f"print(open({str(SCHED)!r}).read())"
        child = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert slice_now(told()) == before
    if before is not None:
        assert slice_now(child.stdout) == before
        assert inside == (GRANTED if RELEASE >= (6, 12) else before)


def test_a_machine_whose_call_is_not_known_is_asked_for_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(platform, "machine", lambda: "another")
    monkeypatch.setattr(ctypes, "CDLL", None)  # a call of it would fail
    with short_slices():
        pass
