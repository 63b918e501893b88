"""The page of appraisals, a file a section of it: form, photographs, grid, evidence, completion, collections.

Not here: what an appraisal must hold, or whether it agrees with itself (`pricing/appraisal/`).
"""
