"""What is kin, by label, by rule and by reading, and how every method does by that."""
