"""What can be said about a plan without running it: rules, the polling budget, splits, differences.

In: a plan. Out: findings, expected figures, a new plan, or what changed. Open `check/rule.py` for rules and
`budget/case.py` for the budget.
"""
