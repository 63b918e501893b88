"""Cells as people write them: numbers, money, distances, years, dates and words."""
