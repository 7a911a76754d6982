"""The rules, a module each with `RULE` in it: `catalogue` finds them by being here."""
