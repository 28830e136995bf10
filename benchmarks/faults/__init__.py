"""What was tried against the program and what was lost: kills, bad places, bad input."""
