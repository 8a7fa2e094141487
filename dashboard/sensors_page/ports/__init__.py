"""The ports of this machine, for the sensors page: which there are, and what their devices send.

Read `port_watch` (ports come and go), `heard_port` (one port that is listened to), and `listeners` (all of them).
May import what `sensors_page` may import.
"""
