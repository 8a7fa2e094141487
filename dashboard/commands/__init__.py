"""One module a subcommand of `haul`, imported only when that subcommand is called.

Each has `add_arguments(parser)` and `run(args) -> int` (the exit status, interface section 3);
`session_index` opens the index of a folder,
`listen_dialogue` asks the questions of `listen`.  Read any first; `predict` is short.  A module
imports at its top what every call needs and the rest inside functions: a recording starts without
pandas.  May import every other package of this room.
"""
