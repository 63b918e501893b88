"""A market that a PostgreSQL server keeps: the local copy of it, the server and its sessions.

Not here: questions and writes of a market; they are written once, in the room above.
"""
