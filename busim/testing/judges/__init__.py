"""Judges, one module each, with `JUDGE` in it: what a controller must do on a shared line.

Open `one_outstanding.py` first.
"""
