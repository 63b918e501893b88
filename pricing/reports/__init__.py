"""Words and charts laid out on paper: appraisals, inspection and buying sheets, their templates.

Not here: a number that no room below has reckoned, or a sentence that a page says as well (`words/`).
"""
