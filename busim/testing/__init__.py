"""Tests of a protocol, a camera model or a controller by trying it.

In: a protocol, a model, or a plan and a controller. Out: verdicts with their evidence, and failures as small cases that
replay. Open `judging/contract.py` first for what a judge sees, then `fuzzing/campaign.py`.

Public, for protocols and models: `prove` (a `Proof` of a protocol), `prove_model` (of a camera model), `explain` (the
frames of a capture that a protocol explains), `read_capture`. For controllers: `fuzz_test` (a test that hypothesis runs
with many cases), `strategies` (its draws), `VirtualWorld` and `ServedWorld` (the fixtures of the pytest plug-in).

Names are fetched at first use: pytest imports the plug-in in every run, even if no test uses it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from busim.testing import strategies
    from busim.testing.captures import Explained, Explanation, explain, read_capture
    from busim.testing.model_checks import prove_model
    from busim.testing.protocol_checks import Proof, Sample, Verdict, prove
    from busim.testing.worlds import ServedWorld, VirtualWorld
    from busim.testing.worlds.fuzzed import fuzz_test

__all__ = [
    "Explained",
    "Explanation",
    "Proof",
    "Sample",
    "ServedWorld",
    "Verdict",
    "VirtualWorld",
    "explain",
    "fuzz_test",
    "prove",
    "prove_model",
    "read_capture",
    "strategies",
]

_FROM = {  # name -> its module
    "Explained": "captures",
    "Explanation": "captures",
    "Proof": "protocol_checks",
    "Sample": "protocol_checks",
    "ServedWorld": "worlds",
    "Verdict": "protocol_checks",
    "VirtualWorld": "worlds",
    "explain": "captures",
    "fuzz_test": "worlds.fuzzed",
    "prove": "protocol_checks",
    "prove_model": "model_checks",
    "read_capture": "captures",
}

if not TYPE_CHECKING:  # otherwise a type checker would believe that every name exists

    def __getattr__(name):
        from importlib import import_module

        if name == "strategies":
            return import_module("busim.testing.strategies")
        if name not in _FROM:
            raise AttributeError(f"module 'busim.testing' has no attribute {name!r}")
        value = globals()[name] = getattr(import_module(f"busim.testing.{_FROM[name]}"), name)
        return value
