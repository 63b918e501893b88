"""What a market keeps beside its records, a noun a file, from settings to idempotency keys.

Reached through `Market`. Not here: the records themselves (`store/records/`).
"""
