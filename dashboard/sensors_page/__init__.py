"""The page on which devices become channels of a sensors file, with Dash callbacks.

Read `port_watch` (ports come and go), `heard_port` (one port that is listened to), and
`listeners` (all of them); `sensors_store` (the draft and the open question, kept on disk), `sensors_desk` (what all of it
stands on), `spots` (where in the rig a channel may sit), `typed` (what a person types). Then what a touch does:
`number_acts` (a number becomes a channel), `channel_acts` (pull, zero, weight, levels), `acts` (all of them, by
name). Then what is shown: `questions` (the open question), `sensors_view` (all that only a touch changes), `live_feed` (what
runs by), `layout`, `callbacks` (from a touch to the new view, by role) and `routes` (the page behind the gate).
May import `desk`, `rig_drawing`, `text`, `web` and the room below.
"""
