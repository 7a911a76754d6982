"""How long the YAML parser alone takes: the yardstick for what a second is on a slow machine."""

from __future__ import annotations

import contextlib
import time

from ruamel.yaml import YAML, YAMLError


def bare(text: str) -> float:
    """CPU seconds that the events of the YAML parser take."""
    began = time.process_time()
    with contextlib.suppress(YAMLError):
        for _ in YAML(typ="rt", pure=True).parse(text):
            pass
    return time.process_time() - began
