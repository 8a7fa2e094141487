"""How values become text: units, columns of tables, sentences, the terminal.

Read `units` (SI to metric or US text), `table_rows` (each column of a table once, for terminal, page,
report and CSV) and `result_rows`, `summary_sentences` and `prediction_text`, `alarm_levels`
(sentences in the reader's units), then `console` (what subcommands share) and `terminal_printer`
(prints without waiting).  May import nothing else of this room.
"""
