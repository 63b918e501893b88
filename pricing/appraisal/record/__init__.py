"""What a person says about one valuation: its sections and questions, the form, profiles, photographs.

Not here: what the market says (`evidence.py`), or whether both agree (`consistency.py`).
"""
