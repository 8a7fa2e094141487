"""Line formats: decode a device's bytes into readings, however the bytes are cut into chunks.

Read `line_ends` (what ends a line) and `base` (the line splitter that all formats share), then `registry` (from a channel's format to
its decoder); `xdr`, `columns`, `json_lines`, `text` and `modbus` are one format each; `number_marks` reads decimal
commas and marks between thousands.  `questions` keeps the
answers of devices that are asked apart.  `port_diagnosis` says why lines are not understood.  A new
format is a file beside them and an entry of `line_formats` in `channels`, which lists the keys of each format; `registry`
stays as it is.  May import `channels` and what lies below it.
"""
