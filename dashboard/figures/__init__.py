"""Plots as plain values, and drawn from them: SVG for paper, plotly for pages.

Read `spec` (a plot as values), `session_figures` (the plots of a session), then `to_svg`, `to_plotly`
and `live_figure`.  May import `rig_drawing`, `web`, `text`.
"""
