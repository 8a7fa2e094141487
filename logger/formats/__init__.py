"""Line formats: bytes of a device in, readings out; pure, whatever the cut of the bytes.

Read `base` (the line splitter that all formats share), then `registry` (from a channel's format to its
decoder); `xdr`, `columns` and `json_lines` are one format each.  A new format is a file beside them and an
entry of `line_formats` in `channels`, which has the keys that each format takes; `registry` stays.
May import `channels` and what lies below it.
"""
