"""Facts to sentences, and how amounts and days are written in a language.

Not here: arithmetic, charts or layout; nothing here knows of a terminal, a browser or paper.
"""
