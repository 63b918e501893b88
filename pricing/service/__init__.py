"""The doors: command line and HTTP."""
