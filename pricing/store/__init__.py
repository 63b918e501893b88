"""The market file: every table, every SQL statement, and the one door to it, `Market`.

Not here: what the records mean (`model/`, `evidence/`), or rules of a record (`records/`).
"""
