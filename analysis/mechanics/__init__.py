"""The rig's model: how bodies move, what strands carry with friction, limits of each part.

Read `kinematics` (motion), `tension` (forces), then `model` (the whole prediction for one set of body
positions); `load_resistance` (the load force), `load_cases` (every condition of the job), `travel`
(strokes, the job, rope), `working_limits` (force on each part and its limit), `measured_parts` (which
parts a cell measures), `rope_stretch`, `what_if` (another pulley efficiency), `ten_percent_rule`.  May import `rig`,
`numeric` and `messages`.
"""
