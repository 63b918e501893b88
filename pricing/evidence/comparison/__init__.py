"""The comparable-sales approach: which past sales are most like a car, adjusted to it, weighted and
reconciled, and how far that was off for sales held out. Not here: how prices moved (``evidence/indices``).
"""
