"""Price indices at constant quality: time dummy, hedonic imputation, repeat sales, with their intervals.

Not here: what one car is worth (`evidence/comparison/`).
"""
