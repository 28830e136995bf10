"""What is drawn, printed and served: how fast it is, and the README's pictures."""
