"""Values as text: units, columns of tables, sentences, the terminal.

Read `units` (SI to metric or US text), `table_rows` (each column of a table once, for terminal, page,
report and CSV) and `result_rows`, `summary_sentences` and `prediction_text`, `places_text`, `alarm_levels`
(sentences in the reader's units), `alarm_headline` (what an alarm says), `listen_sentences` (what `haul listen` heard), `help_topics`
(texts of `haul help`), `local_time` (a moment as time of day), `cautions` (the standing
ones, listed once), then `templates` (HTML from Jinja2 templates), `key_help` (the declared
keys of a file as help), `console` (options and tables of the
subcommands) and `terminal_printer` (prints without waiting for the terminal).  May import nothing else
of this room.
"""
