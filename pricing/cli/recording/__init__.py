"""Commands for what comes into a market: mapping and loading files, one sale typed, records to take out.

Not here: what they print (`printing/`).
"""
