"""What people touch: the `haul` command, and the pages that this machine alone serves.

Read in this order: `cli` (parses a call, imports the one command it needs), `commands/` (one
module a subcommand), `units` and `told` (what people see); `gate`, `server`, `sharing` (who comes in); `live`
and `board` (the live page), `review_page`, `plan_page`, `rig_drawing`, `figures`, `report`.
May import from analysis and logger; nothing imports from here.
"""
