"""The page of records: a table in by what its columns are said to be, one sale typed, what a load asks.

Not here: how a file is read or a row checked (`pricing/intake/`, `pricing/store/`).
"""
