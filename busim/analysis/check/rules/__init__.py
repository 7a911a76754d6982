"""The rules: one module each, with `RULE` in it. `catalogue` finds every module in this package."""
