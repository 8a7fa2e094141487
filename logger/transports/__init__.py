"""Transports: how a device is reached and read, and devices that this machine simulates.

Read `base` (what each transport does), `registry` and `reader_thread`, then `serial`; one file a kind of
connection, named in `channels/port_schemes.py`.  May import `formats` and what lies below it.
"""
