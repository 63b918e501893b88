"""What a market keeps beside its records, a noun a file: settings, tokens, appraisals, choices about
evidence, scores, answers under an idempotency key. Each is reached through ``Market``; none reads a record.
"""
