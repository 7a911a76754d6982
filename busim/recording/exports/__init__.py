"""Exports: a trace in formats of independent decoders, which prove the wire.

Open `levels.py` first.
"""

from busim.recording.exports.formats import FORMATS, Format, Write
from busim.recording.exports.pcapng import pcapng_command, to_pcapng
from busim.recording.exports.tables import TABLE_FORMATS, Column, Table, records_table, table_names, write_table
from busim.recording.exports.target import chosen_lines
from busim.recording.exports.vcd import to_vcd, vcd_command

__all__ = [
    "FORMATS",
    "TABLE_FORMATS",
    "Column",
    "Format",
    "Table",
    "Write",
    "chosen_lines",
    "pcapng_command",
    "records_table",
    "table_names",
    "to_pcapng",
    "to_vcd",
    "vcd_command",
    "write_table",
]
