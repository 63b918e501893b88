"""Buying: a verdict on a price, what a car comes to, what to offer, what to say, what else the money buys.

Not here: how a car sells (`sell/`), or the joint draws that both read (`simulation.py`).
"""
