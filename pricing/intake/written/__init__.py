"""Cells as people write them: numbers, money, distances, years, dates and words.

Not here: which column a cell stands in, or what a file looks like (`intake/`).
"""
