"""The state of a haul that goes on, as numbers for the live page; the page itself is in `dashboard/live`.

Read `haul_state` (what is going on at the rope), `current_loads` and `inferred_loads` (what every part
carries now), `stroke_remaining` (rope left until two-blocked), `recorder_status` (whether the recorder
lives), `events_so_far`; `channel_track` and `minmax_pyramid` keep readings for a page at bounded cost.
May import `strokes` and what lies below it.
"""
