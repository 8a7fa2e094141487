"""The computing room: what a rig should do, what it did, and how sure that is.

Read in this order: `rig` and `rig_file` (the rig as data), `mechanics` (its model), `prediction`; then
`signals`, `strokes` (one analyser for review and live page), `efficiency`, `review`, `live`, `library`.
`numeric` has the one bisection; `simulation` pulls simulated loads; `rigs` and `demo` hold rig files.  May import from logger alone.
"""
