"""Finding cameras, rehearsing the steps of rig day, and printing them.

In: a plan and an emulated site. Out: cameras found, steps with their results, the run sheet. Open
`rehearse/rehearse.py` first.
"""
