"""Readings as signals: cells of time, gaps, spikes, noise, delays between channels.

Read `channel_roles` (which channel is what), `channel_feed` (what is kept of one), `time_cells` (sums
over 1/32 s), `time_grid` (all channels on one grid), `intervals` (stretches of time in which something
holds), `spikes`, `noise_floor` and `steady_level` (the level that a force keeps); then `lag_from_edges`
and `lag_from_ripple` (how much later one channel speaks than another); `chunks` cuts long blocks for
speed.  May import `prediction` and what lies below it.
"""
