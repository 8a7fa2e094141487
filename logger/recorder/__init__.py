"""The recorder: one reader thread a device, one writer thread, alarms, requests.

Read `recorder` (begin, wait, end), then `bounded_queue` and `writer_thread` (the timetable of the
writing thread) with the modules it calls: `reading_intake` (rows), `reading_ledger` (counts and
gaps), `alarm_judge` (applies the alarm rule to each reading, writes alarm rows), `port_warnings`,
`disk_retry`; then `alarms` (THE ALARM RULE: when a level counts as passed, and when it is over),
`request_inbox`, `request_handler`, `rig_check` and `zeroing` (a person's requests).  Alarm levels come from the sensors file and from
`analysis/prediction/alarm_rows`.  May import every other package of this room.
"""
