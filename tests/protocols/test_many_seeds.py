"""Equalities of two implementations, drawn anew from many seeds: the long run, `tools/test -m long`."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from places import TOP

EQUALITIES = [
    "tests/protocols/test_modbus_codec.py",  # the hot codec and its definition
    "tests/protocols/test_modbus_reference.py",  # the check, by us and by an independent library
    "tests/protocols/test_declared_codec.py",  # a declared codec and its definition
]


@pytest.mark.long
@pytest.mark.timeout(600)
@pytest.mark.parametrize("seed", range(1, 26))
@pytest.mark.parametrize("tests", EQUALITIES)
def test_an_equality_holds_whatever_the_seed(tests: str, seed: int) -> None:
    environment = {name: value for name, value in os.environ.items() if name != "CI"}  # where seeds are fixed
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", f"--hypothesis-seed={seed}", tests]
    done = subprocess.run(command, cwd=TOP, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-4000:]
