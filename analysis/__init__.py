"""The computing room: what a rig should do, what it did, and how sure that is.

Read in this order: `rig` and `rig_file` (the rig as data), `mechanics` (its model), `prediction` (what
it should do, and its alarm levels); then `signals` (readings as signals), `strokes` (where a stroke is
found; one analyser for review and live page), `efficiency` (the result with its interval), `review`
(its JSON), `live` (the state of a haul that goes on), `sessions` (many sessions).  `messages` holds what
is said to people; `numeric` has the one bisection; `simulation` pulls simulated loads; the folders rigs
and demo hold rig files.  May import from logger alone.
"""
