"""The commands `appraise`: a record from its form to its documents, photographs, grid, profiles, collections.

Not here: what they print (`printing/`).
"""
