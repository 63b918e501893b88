"""The pooled regression alone: nested groups, their elimination, heavy tails, bounds, the iteration.

Not here: prices, cars, sales or dates; a design of any columns goes in.
"""
