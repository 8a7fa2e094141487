"""The rig's model: how bodies move, what strands carry with friction, limits of each part.

Read `kinematics` (motion), `tension` (forces), then `model` (all that is predicted at one place of the
bodies); `load_resistance` (what the load resists), `load_cases` (every condition of the job), `travel`
(strokes, the job, rope), `working_limits` (what a part may carry), `measured_parts` (what a cell
measures), `rope_stretch`, `what_if` (another pulley efficiency), `ten_percent_rule`.  May import `rig`,
`numeric` and `messages`.
"""
