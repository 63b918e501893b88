"""The records of a market: how they come in, are linked, corrected and taken out, and are read as sales.

Reached through ``Market`` and ``load_into``; what is kept beside the records is in ``store/kept``.
"""
