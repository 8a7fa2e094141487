"""Line formats: bytes of a device in, readings out; pure, whatever the cut of the bytes.

Read `base`, then `registry`; one file a format, named in `channels/line_formats.py`.  May import `channels` and what lies below it.
"""
