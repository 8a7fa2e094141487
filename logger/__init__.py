"""The recording room: turns bytes from devices into rows of a session folder that survives a crash.

Read in this order: `channels` (what is connected), `transports` (how bytes come), `formats` (what
they mean), `calibration` (from a reading to a value in SI), `session` (the folder: write, seal,
verify, repair, read), `machine` (disk, power, sleep), `listening` (what an unknown device sends), `recorder` (the process that runs them, with
alarms and requests).  `errors`,
`clock`, `filesystem`, `file_keys` (the keys of a file, declared once) with `key_schema` (their JSON
Schema), `toml_tables` (with `toml_syntax` and `spelling`: what to write instead), `typed_commas` (what a comma in a typed number may be) and `device_units`
serve all of them.  May import nothing from analysis or dashboard.
"""
