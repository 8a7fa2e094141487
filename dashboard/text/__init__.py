"""Values as text: units, columns of tables, sentences, the terminal.

Read `units` (SI to metric or US text), `table_rows` (each column of a table once, for terminal, page,
report and CSV) and `result_rows`, `summary_sentences` and `prediction_text`, `alarm_levels`
(sentences in the reader's units), `local_time` (a moment as time of day), `cautions` (the standing
ones, listed once), then `templates` (HTML from Jinja2 templates), `console` (options and tables of the
subcommands) and `terminal_printer` (prints without waiting for the terminal).  May import nothing else
of this room.
"""
