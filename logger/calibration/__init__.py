"""Calibrations of a force cell or counter: points, fitted curve, its uncertainty, calibration file.

Read `curve` (from a reading to a value and its u), `calibration` (fit, write and read the file),
`calibration_keys` (every key of that file, declared once),
`points_file` (the table that is fitted), then `iso376_e74` (terms of the two standards);
`exact_least_squares` and `polynomial` hold the arithmetic.  May import `toml_tables` and what lies
below it.
"""
