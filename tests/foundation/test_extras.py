"""What an optional package brings: without it, one clear line says what to install."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from places import SCENARIOS
from typer.testing import CliRunner

from busim.cli.app import app

HALL = str(SCENARIOS / "climbing-hall" / "plan.yaml")


@pytest.mark.parametrize(
    ("package", "extra", "words"),
    [
        ("pyarrow", "parquet", ["sweep", HALL, "--vary", "cameras=1..2", "-o", "points.parquet"]),
        ("openpyxl", "spreadsheets", ["plan", "export", HALL, "-o", "hall.xlsx"]),
        ("scipy.optimize", "optimal", ["plan", "split", HALL, "--optimal"]),
        ("matplotlib.figure", "plots",
         ["sweep", HALL, "--vary", "cameras=1..2", "--vary", "line.baud=9600,19200", "--map", "points.svg"]),
    ],
)  # fmt: skip
def test_a_package_that_is_missing_is_named_with_the_extra_that_brings_it(
    package: str, extra: str, words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setitem(sys.modules, package, None)  # an import of it fails, as where it is not installed
    done = CliRunner().invoke(app, words)
    told = " ".join(str(done.exception or done.output).split()) + " ".join(done.output.split())
    assert done.exit_code != 0
    assert f"{package.partition('.')[0]} is not installed" in told
    assert f"pip install 'busim[{extra}]'" in told
