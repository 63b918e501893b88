"""The command line: one group of commands a file, what it prints in `terminal.py` and `*_terminal.py`.

Not here: what a page or the API needs too (`operations/`); no numerical library is read before it is used.
"""
