"""What is said to people: messages with codes and values, and the one catalogue of their sentences.

Read `message` (a code with values, and its text), then `catalogue` (the sentence of every code) with
`template`.  May import nothing else of this room.
"""
