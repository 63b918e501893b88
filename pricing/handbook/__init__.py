"""The handbook: pages in Markdown, and what makes one page of HTML of each (`pages.py`)."""
