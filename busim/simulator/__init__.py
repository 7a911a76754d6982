"""The emulated installation: kernel, line, cameras, masters, converters, faults. Time is an argument, in nanoseconds.

In: a plan and a seed, then bytes and site actions with their instants. Out: records (see `busim.recording.trace`). Open
`world/build.py` first: it makes all objects of a plan. `bus/line.py` is the wire.
"""
