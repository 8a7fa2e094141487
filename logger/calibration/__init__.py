"""Calibrations of a cell: points, fitted polynomial, its uncertainty, the calibration file.

Read `calibration` first, then `curve`.  May import `toml_tables` and what lies below it.
"""
