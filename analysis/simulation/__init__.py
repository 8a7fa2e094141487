"""Simulated hauls: the demo's physics, and pulls with stated true values.

Read `stated_haul` (for `haul simulate`), then `demo_haul` (for `haul demo`).  May import `signals` and
what lies below it.
"""
