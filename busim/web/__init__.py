"""HTTP: the control of a running session, and the page that shows a trace.

In: a live session, or the file of a trace. Out: an address on loopback and a token. The control API does what
`busim.runtime.actions` lists, for a program in any language; the page draws the line for people. First files to open:
`control_api`, and for the page `views`, with `picture` below it.
"""

from busim.web.control_api import openapi
from busim.web.control_server import ControlServer
from busim.web.page_server import LOOPBACK, PageServer

__all__ = ["LOOPBACK", "ControlServer", "PageServer", "openapi"]
