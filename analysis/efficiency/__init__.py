"""The efficiency and its interval: load estimators, budgets, travel and work, the verdict.

Read `estimate`, then `load_estimators` and `uncertainty`.  May import `strokes` and what lies below it.
"""
