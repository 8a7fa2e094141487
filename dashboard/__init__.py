"""What people touch: the `haul` command, and the pages that this machine alone serves.

Read in this order: `cli` (parses a call, imports the one command it needs), `commands/` (one
module a subcommand), `units` (what people see), then the server and the pages.
May import from analysis and logger; nothing imports from here.
"""
