"""Selling: where, when and for what, a channel a law; reserve, asking price, what is worth doing first.

Not here: a buyer's limits (`buy/`), or the joint draws that both read (`simulation.py`).
"""
