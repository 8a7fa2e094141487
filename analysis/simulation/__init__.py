"""Simulated hauls: the demo's physics and pulls with stated true values.

Read `demo_haul`.  May import `signals` and what lies below it.
"""
