"""The recording room: bytes on a port become rows of a session folder that survives a crash.

Read in this order: `channels` (what is connected), `transports` (how bytes come), `formats` (what they
mean), `calibration`, `session` (the folder: write, seal, verify, repair, read), `recorder` (the process
that puts them together).  `errors`, `clock`, `filesystem`, `toml_tables`, `device_units` serve all.  May
import nothing from analysis or dashboard.
"""
