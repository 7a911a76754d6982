"""Events of a run, as records: the trace file, figures folded from it, expectations, and exports.

In: records of a run, one tuple each. Out: a trace file, figures, verdicts on expectations, VCD and pcapng. Open
`trace/records.py` first: its tables name every kind of record.
"""
