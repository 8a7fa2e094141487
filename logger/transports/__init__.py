"""Transports: how bytes come from a device, one file a kind of connection.

Read `base` (what every transport does), `registry` (from a port's scheme to its transport), then
`reader_thread` (one thread a device: back-off, decoding, events) with `flood_gate` (thins a device
that floods) and `asker` (asks devices that do not send by themselves).  `serial` is the transport
of pyserial and `usb` finds its port, `tcp` is that of TCP servers, `listen` of TCP clients, `udp`
of datagrams, `stdin` of another program; all read by `stream`.  `modbus` reads registers through
any of these that takes questions; `mqtt` subscribes
to a topic of a broker.  `hand` stands for a person.  `simulated` serves devices from
this machine.  A new transport is a file beside `serial` and a line in `port_schemes` of `channels`;
`registry` stays as it is.  May import `formats` and what lies below it.
"""
