"""Plots as plain values, drawn as SVG or by plotly.

Read `spec`.  May import `rig_drawing`, `web`, `text`.
"""
