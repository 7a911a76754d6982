"""Exports: a trace in the formats of decoders that nobody here wrote, which is the proof of the wire."""

from busim.exports.pcapng import to_pcapng
from busim.exports.vcd import to_vcd

__all__ = ["to_pcapng", "to_vcd"]
