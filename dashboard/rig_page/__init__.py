"""The page on which a rig is made and changed by touch, with Dash callbacks.

Read `draft_store` (the draft of one rig file on disk), `touches` (what was touched), `triggers` (what set a callback off), `acts` (a button or a
field as edits) with `numbers_typed` (what was typed into a field), `menu` (what may be done with what was touched) with `menu_parts`, `preset_choices` (usual values, with their sources) and
`which_rig` (the shelf for the job), `beside` (two rigs side by side), `answers` (what the draft amounts to), `places` (where cells, captures and grabs should sit),
`view` (all parts of the page for one state of the draft), `layout` (the page), then `callbacks` (from a
touch to the new view, by role), `routes` (the page behind the gate) and `server`.
May import `rig_drawing`, `text`, `web` and the room below.
"""
