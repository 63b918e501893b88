"""The JSON API and its client: one noun a file, every route opens, calls and returns.

Not here: rules, SQL, mathematics; or anything of the command line.
"""
