"""A sale record: cells as people write them, and the contract with its named rules.

Not here: files and their mappings (`intake/`), or what is kept of a record (`store/`).
"""
