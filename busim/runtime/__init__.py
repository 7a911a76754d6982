"""Clocks, sockets, serial ports and sessions. Wall time, asyncio, threads and processes are used only from here up.

In: a plan, and bytes from real programs. Out: the same bytes answered, and a trace. Open `session/run.py` first; every
way to run an installation stands on it.
"""
