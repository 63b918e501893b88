"""Currencies at a date, charges with their exact inverses, and any price basis brought to all-in.

Not here: what a record is (`records/`), or which terms a market keeps (`store/`).
"""
