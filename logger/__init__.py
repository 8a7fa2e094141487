"""From bytes on a port to a session folder; nothing here looks at what the numbers mean.

Read in this order: `errors` (the one error type), `tables` (strict TOML), `sensors` (what is
connected), `formats` (bytes to readings, pure), `ports` (a URL as timed chunks), `session` (the
folder: append, follow, load, seal, verify), `recorder` (ports to session), `virtual` (devices
that serve given values).  May import nothing from analysis or dashboard.
"""
