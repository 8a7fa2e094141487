"""The recording room: bytes from a device become rows of a session folder that survives a crash.

Read in this order: `channels` (what is connected), `transports` (how bytes come), `formats` (what they
mean), `calibration` (what a reading is worth), `session` (the folder: write, seal, verify, repair,
read), `recorder` (the process that puts them together, with alarms and requests).  `errors`, `clock`,
`filesystem`, `toml_tables`, `device_units` serve all of them.  May import nothing from analysis or
dashboard.
"""
