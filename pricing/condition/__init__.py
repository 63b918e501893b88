"""What an inspection says: sheets, findings, score, band and repair budget.

Not here: prices of cars (`model/`), or what a repair changes of a price (`decisions/`).
"""
