"""From bytes on a port to a session folder; nothing here looks at what the numbers mean.

Read in this order: `errors` (the one error type), `tables` (strict TOML), `units`, `calibration`
(with `calibration_points`, `calibration_curve`, `calibration_terms`, `least_squares`), `schemes`
(what a port may be) and `sensors` (what is connected), `decoder` and `formats` with `format_xdr`, `format_columns`, `format_json`
(bytes to readings, pure), `ports` (a URL as timed chunks) and `ring`; `package` (the descriptor),
`session_types`, `session_parse`, `session` (open, follow, load), `files` (every call that changes a
disk), `lock`, `seal`, `appender`, `marks`, `mark_writer`, `session_writer`, `salvage`, `verify`, `importer`; `alarms`, `inbox`,
`requests`, `syncer`, `recorder_writer`, `recorder` (ports to session); `virtual` (devices that serve given values).  May import nothing from analysis or
dashboard.
"""
