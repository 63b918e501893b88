"""A frame to columns of the regression, a kind of effect a file, and what each row tells of a price.

Not here: how the columns are fitted (`regression/`).
"""
