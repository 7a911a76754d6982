"""What copper, supplies, baud and characters allow: formulas, each with its source.

In: numbers (metres, ohms, baud, characters). Out: seconds, volts, margins. Open `exchange/parts.py` for the time of one
exchange, `electric/pair.py` for the cable. Nothing here reads a plan.
"""
