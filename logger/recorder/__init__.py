"""The recorder: one reader thread a device, one writer thread, alarms, requests, disk and power.

Read `recorder`, then `writer_thread` and the modules whose objects it calls.  May import every other package of this room.
"""
