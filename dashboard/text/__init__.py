"""How values become text: units, tables, sentences, the terminal.

May import nothing else of this room.
"""
