"""HTTP: the control of a running session.

In: a live session. Out: an address on loopback and a token, with which a program in any language does what
`busim.runtime.actions` lists. First file to open: `control_api`.
"""

from busim.web.control_api import openapi
from busim.web.control_server import ControlServer

__all__ = ["ControlServer", "openapi"]
