"""Plots as plain values, drawn as SVG for paper or by plotly for pages.

Read `spec` (a plot as values), `session_figures` (the plots of a session), then `to_svg`, `to_plotly`
and `live_figure`.  May import `rig_drawing`, `web`, `text`.
"""
