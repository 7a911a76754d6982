"""Protocols in files: a protocol described by its frames and messages, without a program.

Public: `read` and `read_text` (a file or text to a `DeclaredProtocol`), `json_schema` (for editors), `checks` (the
checks that a file can name).

Open `declaration.py` first.
"""

from busim.protocols.declared.codec import DeclaredProtocol
from busim.protocols.declared.declaration import Declaration, Operation
from busim.protocols.declared.layouts import Layout
from busim.protocols.declared.reading import json_schema, read, read_text
from busim.protocols.declared.sums import checks

__all__ = ["Declaration", "DeclaredProtocol", "Layout", "Operation", "checks", "json_schema", "read", "read_text"]
