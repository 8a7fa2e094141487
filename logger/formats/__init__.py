"""Line formats: bytes of a device in, readings out; pure, whatever the cut of the bytes.

Read `base` (the line splitter that all formats share), then `registry` (from a channel's format to its
decoder); `xdr`, `columns` and `json_lines` are one format each, and a new format is a file beside them.
May import `channels` and what lies below it.
"""
