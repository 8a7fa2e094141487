"""The computing room: what a rig should do, what it did, and how sure that is.

Read in this order: `rig` and `rig_file` (the rig as data), `rig_edit` (a rig file while it is edited), `mechanics` (its model), `prediction` (what
it should do, and its alarm levels), `conversion` (one rig made of another under load); then `signals` (readings as signals), `sensors_edit` (a sensors file while it is edited), `strokes` (where a stroke is
found; one analyser for review and live page), `efficiency` (the result with its interval), `review`
(its JSON), `live` (the state of a haul that goes on), `sessions` (many sessions).  `messages` holds what
is said to people; `numeric` has the one bisection; `simulation` pulls simulated loads; the folders rigs
and demo hold rig files.  May import from logger alone.
"""
