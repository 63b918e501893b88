"""The command line: one group of commands a file, what it prints in `printing/`.

Not here: what a page or the API needs too (`operations/`); no numerical library is read before it is used.
"""
