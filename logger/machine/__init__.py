"""The machine that records: disk space, power and sleep.

Read `machine_watch` (what a recording says of the machine, from its start on), then `machine_thread`
(the thread that it runs in), `power_supply` (mains or battery) and `keep_awake` (holds sleep off).  Imports nothing of the other packages.
"""
