"""Simulator C: sessions of a haul with one disturbance each, and a judge of what a review says of them.

Read `rigs` (gains by the tension method), `hauls` (motion and forces), `devices` (what is sent), `sessions`
(a session with its true values), `rows` (the disturbances), `judge` (codes of messages and what they accuse).
Nothing here is shared with the rooms' own mechanics, or with simulators A and B: the rooms are only judged.
"""
