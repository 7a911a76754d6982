"""Proving: whether a dialect that somebody described does what a dialect must, shown by trying it.

Public: `prove` (a `Proof` of a dialect), `explain` (which frames of a capture a dialect explains), `read_capture`.
"""

from busim.proving.capture import Explained, Explanation, explain, read_capture
from busim.proving.proof import Proof, Sample, Verdict, prove

__all__ = ["Explained", "Explanation", "Proof", "Sample", "Verdict", "explain", "prove", "read_capture"]
