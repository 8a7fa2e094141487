"""The current state of a growing session, as numbers for the live page (`dashboard/live` draws them).

Start with `live_state` (everything the page shows of one session).  `haul_state` classifies what happens
at the rope; `current_loads` and `inferred_loads` give the force on every part; `stroke_remaining` the
rope left until two-blocked; `haul_levels` caution and stop of the haul force; `rig_in_use` the rig and the positions of its bodies; `recorder_status`
whether the recorder is alive; `events_so_far` the rows of events.csv.  `channel_track` and
`minmax_pyramid` keep readings at bounded cost.  May import `review` and what lies below it.
"""
