"""Rig files: TOML to a rig, checked, and back.

Read `load`.  May import `mechanics` and `rig`.
"""
