"""Channels, the sensors file that declares them, and the tables of ports and line formats that it checks by.

Read `channel`, then `sensors_file`.  May import `calibration` and what lies below it.
"""
