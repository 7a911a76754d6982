"""Proving: whether a protocol or a camera that somebody described does what it must, shown by trying it.

Public: `prove` (a `Proof` of a protocol), `prove_model` (of a camera model), `explain` (which frames of a capture a
protocol explains), `read_capture`.
"""

from busim.testing.captures import Explained, Explanation, explain, read_capture
from busim.testing.model_checks import prove_model
from busim.testing.protocol_checks import Proof, Sample, Verdict, prove

__all__ = ["Explained", "Explanation", "Proof", "Sample", "Verdict", "explain", "prove", "prove_model", "read_capture"]
