"""What an inspection says: findings to a score, a band and a repair budget."""
