"""The written appraisal: the record, what it must hold, the evidence frozen with it, and its facts."""
