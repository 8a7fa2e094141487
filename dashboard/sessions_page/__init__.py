"""What came of a haul, and all hauls of the folder: the pages at /result/ and /sessions/.

Read `notes` (what a person adds beside a sealed record), `next_haul` (a session's rig for the next haul), `result_view` (the
result as plain values) and `result_page` (its page and callbacks); then `folder_library` (the rows of all sessions),
`sessions_view` (list, filter, trend, comparison, gear), `trend_plot` (the drawing of a trend) and `sessions_page` (their page and callback), with `components`
(what both pages are built of); `desk_page` puts both behind the gate.
May import `desk`, `review`, `export`, `text`, `web` and the room below.
"""
