"""What people say of prices: the statement and its rules, how a span is asked for, how good spans are.

Not here: where statements are kept (`store/`), or what they do to prices (`model/`).
"""
