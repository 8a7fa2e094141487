"""Line formats: decode a device's bytes into readings, however the bytes are cut into chunks.

Read `base` (the line splitter that all formats share), then `registry` (from a channel's format to
its decoder); `xdr`, `columns`, `json_lines` and `text` are one format each.
`line_ends` says where a line ends, `number_marks` how a number is written.  `questions` keeps the
answers of devices that are asked apart.  `port_diagnosis` says why lines are not understood.  A new
format is a file beside them and an entry of `line_formats` in `channels`, which lists the keys of each format; `registry`
stays as it is.  May import `channels` and what lies below it.
"""
