"""The page of inspections: the walk round a car area by area, its acts, its result.

Not here: how findings come to a score (`pricing/condition/`).
"""
