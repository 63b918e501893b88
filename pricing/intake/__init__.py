"""Outside files to records: readers, column mappings, names, duplicates, listings.

Not here: SQL, or anything kept in the market file (`store/`); the rules of a record (`records/`).
"""
