"""One module a subcommand of `haul`, imported only when that subcommand is called.

Each has `add_arguments(parser)` and `run(args) -> int` (the exit status, interface section 3);
`child_processes` starts the processes of those that need several.  Read any; `predict` is short.  What
may be imported at their top is what the command cannot do without: a recording starts without pandas.
May import every other package of this room.
"""
