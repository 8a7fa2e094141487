"""Transports: how bytes come from a device, one file a kind of connection.

Read `base` (what every transport does), `registry` (from a port's scheme to its transport), then
`reader_thread` (one thread a device: back-off, decoding, events); `serial` is the transport of
pyserial, `simulated` gives devices that this machine plays.  A new transport is a file beside `serial`
and a line in `port_schemes` of `channels`; `registry` stays.  May import `formats` and what lies below it.
"""
