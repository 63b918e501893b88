"""The invented demo market: its generator, the files it wrote, and the truth it was drawn from."""
