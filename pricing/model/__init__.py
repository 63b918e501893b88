"""What the market says: the pooled regression, its calibration, its price ranges and its scores.

Not here: what knows of a person, a purchase or a document; a fit takes any frame with a `FeatureSpec`.
"""
