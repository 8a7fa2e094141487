"""The page on which devices become channels of a sensors file, with Dash callbacks.

Read the folder `ports` (which ports there are, and what comes from them); then `sensors_store` (the draft and the open question, kept on disk), `sensors_desk` (what all of it
stands on), `spots` (where in the rig a channel may sit), `typed` (what a person types). Then what a touch does:
`number_acts` (a number becomes a channel), `channel_acts` (pull, zero, weight, levels), `known_size` (which unit and which sign a known weight or length shows), `acts` (all of them, by
name). Then what is shown: `questions` (the open question), `sensors_view` (all that only a touch changes), `live_feed` (what
runs by), `layout`, `callbacks` (from a touch to the new view, by role) and `routes` (the page behind the gate).
May import `desk`, `rig_drawing`, `text`, `web` and the room below.
"""
