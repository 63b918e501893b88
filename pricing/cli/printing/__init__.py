"""What commands print: tables, sentences and progress on a terminal, a file for each group of commands.

Not here: options, or anything that opens a market; nothing printed steers a terminal (`console.py`).
"""
