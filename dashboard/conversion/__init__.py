"""Shows a conversion: its moves with a drawing of the rig after each, for paper and for pages.

Read `changes` (what it changes, as rows of text), then `drawn_moves` (a drawing after each move).  May import
`rig_drawing`, `text` and what lies below them.
"""
