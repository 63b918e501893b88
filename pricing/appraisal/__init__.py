"""The written appraisal: the record, its consistency rules, the evidence frozen with it, and its facts.

Not here: how a document looks or sounds (`reports/`), or how a number is reckoned (`decisions/`).
"""
