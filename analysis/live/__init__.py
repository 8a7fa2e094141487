"""The state of a haul that goes on, as numbers for the live page; the page itself is in `dashboard/live`.

Read `live_state` (all that the page shows of one session), `haul_state` (what is going on at the rope),
`current_loads` and `inferred_loads` (what every part carries now), `stroke_remaining` (rope left until
two-blocked), `haul_levels` (caution and stop of the haul force), `rig_in_use`, `recorder_status`
(whether the recorder lives), `events_so_far`;
`channel_track` and `minmax_pyramid` keep readings for a page at bounded cost.  May import `review` and
what lies below it.
"""
