"""Exports: a trace in formats of independent decoders, which prove the wire.

Open `levels.py` first.
"""

from busim.recording.exports.formats import FORMATS, Format, Write
from busim.recording.exports.pcapng import pcapng_command, to_pcapng
from busim.recording.exports.vcd import to_vcd, vcd_command

__all__ = ["FORMATS", "Format", "Write", "pcapng_command", "to_pcapng", "to_vcd", "vcd_command"]
