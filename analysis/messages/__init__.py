"""What is said to people: messages with codes and values, and the one catalogue of their sentences.

Read `message`, then `catalogue`.  May import nothing else of this room.
"""
