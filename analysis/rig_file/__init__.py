"""Rig files: TOML to a rig, checked, and back.

Read `load`, then `parser` and `rope_paths`.  May import `mechanics` and `rig`.
"""
