"""The base of all packages: errors, quantities with units, YAML with positions, schema helpers, diagnostics.

In: text of files and fields. Out: values with their places, and errors that say where and how to mend them. Open
`errors.py` first, then `diagnostics.py`. Nothing here knows cameras, lines or plans.
"""
