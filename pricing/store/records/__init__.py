"""The records of a market: how they come in, are linked, corrected and taken out, and are read as sales.

Reached through `Market` and `load_into`. Not here: what is kept beside the records (`store/kept/`).
"""
