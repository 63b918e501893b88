"""What the market says: the price model, its calibration and its scores."""
