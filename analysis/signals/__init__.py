"""Signal processing of readings: cells of time, gaps, spikes, noise, lags between channels.

Start with `channel_roles` (which channel measures the haul, the load, the rope), `channel_feed` (the
buffer of one channel, and the cut of long blocks for speed), `time_cells` (readings summed over 1/32 s) and `time_grid` (all channels on one
time grid).  `intervals` joins cells in which a condition holds; `spikes`, `noise_floor` and
`steady_level` condition the force; `mean_over_time` needs no lag; `mean_through_stops` bounds what rope loses;
`lag_from_edges`, `lag_from_stretch` and `lag_from_ripple` estimate the lag between two
channels; `flat_top` and `slack_readings` show what is wrong with a force cell's range and zero;
`counter_modulus` follows a counter that starts again.  May import `prediction` and what lies below it.
"""
