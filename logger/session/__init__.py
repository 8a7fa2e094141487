"""The session folder (interface section 4): written row by row, sealed, verified, repaired, read.

Read `records` and `descriptor` (what there is), `writer` with `append_file`, `fsync_thread` and
`lock` (how it is written), `reader` and `parser` (how it is read), `seal`, `verify` and `recovery`
(whether it is unchanged, and its repair), `rest` (no look across a sealing), `unbegun_session` (a recorder killed before the first
row), `write_journal` and `write_journal_writer` (journal
marks, which prove the rows of a growing session), `csv_import` (a session from a table).  May
import `formats`, `channels` and what lies below them.
"""
