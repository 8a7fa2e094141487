"""The rig's model: how bodies move, what strands carry with friction, limits of each part.

Read `model`, then `tension` and `kinematics`.  May import `rig`.
"""
