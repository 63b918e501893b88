"""What every request passes before a route sees it: names, callers, limits of size, rate and time, the log.

Not here: anything that knows what is asked for (`routes/`).
"""
