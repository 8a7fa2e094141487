"""The recorder: one reader thread a device, one writer thread, alarms, requests, disk and power.

Read `recorder`, then `writer_thread`.  May import every other package of this room.
"""
