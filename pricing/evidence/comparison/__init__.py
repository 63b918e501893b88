"""The comparable-sales approach: the past sales most like a car, adjusted, weighted, reconciled, and tested.

Not here: how prices moved (`evidence/indices/`), or the depth of a market (`evidence/depth.py`).
"""
