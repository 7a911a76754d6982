"""Where tests find the project: its top folder, and the scenarios in it."""

from __future__ import annotations

from pathlib import Path

TESTS = Path(__file__).resolve().parent
TOP = TESTS.parent
SCENARIOS = TOP / "scenarios"
