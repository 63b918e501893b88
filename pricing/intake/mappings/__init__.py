"""What the columns of a table are: recognised, proposed, asked about, settled, written down as a mapping.

Not here: how a file is opened (`tables/`), or one cell read (`written/`).
"""
