"""Channels and the sensors file that declares them.

Read `sensors_file`.  May import `calibration` and what lies below it.
"""
