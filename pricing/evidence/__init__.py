"""What the recorded sales say by themselves: comparable sales, adjustments, price indices, depth of a market.

Not here: the fitted price model (`model/`), advice (`decisions/`), or sentences and charts of the evidence.
"""
