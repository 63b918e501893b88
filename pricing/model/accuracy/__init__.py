"""How good the numbers are: scores of forecasts, the ratio study, the backtest and what is kept of it.

Not here: anything that changes a price (`calibration/`).
"""
