"""The handbook: pages in Markdown, and what makes one page of HTML of each (`pages.py`).

Not here: the developers' own page, or any answer of a market (every block of a page is run by a test).
"""
