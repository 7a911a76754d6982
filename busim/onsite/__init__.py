"""At the real line: what is there is heard, measured and proven.

In: a target, which the user agrees to have opened, and a plan or a camera model to compare with. Out: what was sent and
heard, with times, and verdicts. Nothing here has been near real hardware; it is proven on pseudo-terminals, RFC 2217
and loopback. Open `targets/opening.py` first: every way to a real line goes through it.
"""
