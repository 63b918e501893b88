"""Rolling origins, and what they teach: the shift of the market and the law of later errors.

Not here: how good the numbers then are (`accuracy/`).
"""
