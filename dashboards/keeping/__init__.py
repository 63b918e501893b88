"""The page of cars that a person keeps: each today, side by side, and what is noted of it.

Not here: what a kept car is worth (`pricing/decisions/kept_car.py`).
"""
