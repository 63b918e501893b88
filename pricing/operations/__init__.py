"""The upkeep of a market: opening, settings and roles, drafts, configuration, serving, backups, deployment.

Not here: what a command, a route or a page alone needs; doors share this room and never import one another.
"""
