"""Listening: finds out what a device sends, and writes the `[[channel]]` that reads it.

Read `capture` (what came from the port), then `understanding` (from a capture to channels and open questions). `line_settings`
judges rate and framing by the bytes, `line_splitting` finds what ends a line, `comma_meaning` what a comma means, `number_tokens`
the numbers of a line with label and unit; `text_series` and `keyed_series` make series of numbers (`number_series`) with the keys that may read them, `proof` reads the capture with them
through the sensors file's parser and the decoder of the format, `channel_toml` writes them; `movement` says which number moved, `marking` where
each stands in a line as it came.
All of these are pure; `hearing` alone opens a port, through the transports, and `settings_search` tries rates with it.  May import
`transports`, `formats`, `channels` and what lies below them.
"""
