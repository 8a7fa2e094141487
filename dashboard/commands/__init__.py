"""One module a subcommand of `haul`, imported only when that subcommand is called.

Each has `add_arguments(parser)` and `run(args) -> int` (the exit status).  What may be imported
at their top is what the command cannot do without: a recording starts without pandas.
"""
