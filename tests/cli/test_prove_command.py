"""`busim prove`: a camera model is tried with the protocol files beside it; the checks of protocol files are listed."""

from __future__ import annotations

from pathlib import Path

import pytest
import typer

from busim.cli import prove
from busim.plan import models
from busim.protocols import starter


def test_a_model_is_tried_with_the_protocol_file_beside_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    model = tmp_path / "camera.yaml"
    text = models.starter("wall-camera")
    model.write_text(text.replace("keys_as: {text: modbus-rtu}", "keys_as: {wall-lines: modbus-rtu}"))
    assert "wall-lines" in model.read_text()
    prove.command(str(model))
    assert "wall-lines: not tried" in capsys.readouterr().out
    (tmp_path / "lines.yaml").write_text(starter("wall-lines"))
    (tmp_path / "broken.yaml").write_text("busim-protocol: [")
    prove.command(str(model))
    out = capsys.readouterr().out
    assert "not tried" not in out
    assert "every protocol carries all keys and both ends of all values (2 tried)" in out


def test_every_check_is_listed(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(typer.Exit):
        prove._list_checks(True)
    assert "CRC-16/IBM-SDLC  (also " in capsys.readouterr().out
