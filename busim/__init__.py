"""busim: a camera bus on a shared RS-485 line, in software.

Rooms are storeys: a room imports only from storeys below it (see DEVELOPERS.md).
"""

__version__ = "0.1.0"

__all__ = ["__version__"]
