"""What the evidence says: comparable sales, price index, depth."""
