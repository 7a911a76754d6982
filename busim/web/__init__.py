"""HTTP: the control of a running session, and the page that shows a trace.

In: a live session, or the file of a trace. Out: an address on loopback and a token. Through the control API a program
in any language can do all of `busim.runtime.actions`; the page draws the line for people. Open `control_api` first, and
for the page `views`, with `picture` below it.
"""

from busim.web.control import Control
from busim.web.control_api import openapi
from busim.web.control_server import ControlServer
from busim.web.page_process import page_in_process
from busim.web.page_server import LOOPBACK, PageServer

__all__ = ["LOOPBACK", "Control", "ControlServer", "PageServer", "openapi", "page_in_process"]
