"""Readings as signals: cells of time, gaps, spikes, noise, delays between channels.

Read `channel_feed`, then `time_cells`.  May import `prediction` and what lies below it.
"""
