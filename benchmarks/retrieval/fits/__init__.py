"""Fits of costs and of weights, and what the order of evidence costs."""
