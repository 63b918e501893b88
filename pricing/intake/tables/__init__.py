"""Files of any format as tables of text, each row with its place in the file.

Not here: what a column or a cell means (`mappings/`, `written/`).
"""
