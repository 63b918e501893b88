"""The addresses of the API, a noun a file; each opens, calls and returns.

Not here: what every request passes (`middleware/`), or a rule of any kind.
"""
