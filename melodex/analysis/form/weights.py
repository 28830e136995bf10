"""Weights of form, fitted by ``benchmarks.analysis.form.fit``, not by hand.

Conventions: ``BOUNDARY_WEIGHTS`` go with ``boundaries.BOUNDARY_FEATURES`` (fitted on
the tuning half of O'Neill, Ryan and Aird, repeat signs hidden), ``PHRASE_WEIGHTS`` with
``phrases.PHRASE_FEATURES``; ``PHRASE_LENGTH_LOGS`` are logarithms of the share of
phrases of 0, 1, 2 ... notes (both fitted on the tuning half of the Essen songs).

Contents: BOUNDARY_WEIGHTS, PHRASE_WEIGHTS, PHRASE_LENGTH_LOGS.
"""

__all__ = ["BOUNDARY_WEIGHTS", "PHRASE_LENGTH_LOGS", "PHRASE_WEIGHTS"]

BOUNDARY_WEIGHTS = (
    *(1.389, 0.619, 0.447, -0.081, 0.087, 0.572, -0.441, 0.718, -0.548, 0.794, 0.809),
    *(-0.196, 0.297, 0.158, 0.216, -0.501, 1.110, 0.946, 0.535, 0.508, 0.924, 0.246),
    *(0.421, 0.797, 0.746, 1.066, 0.268, 1.349, -0.946, 0.759, 0.210, 0.566),
)
"""What each feature of a bar speaks for a new section there; the greatest sum wins."""
PHRASE_WEIGHTS = (
    *(-5.246, 2.963, -0.333, 1.754, 0.133, -0.041, -0.080, 0.739, 0.685, 1.144),
    *(0.657, 0.073, 0.097, 0.186, 0.300, 0.364, 2.934, 0.176, 0.840, 0.501, 1.147),
    *(0.301, 0.251, 0.363, 0.196, 0.284, -0.800, -0.013, -3.001, -3.343),
)
"""Log odds that a phrase ends, for each feature; the first is the constant."""
PHRASE_LENGTH_LOGS = (
    *(-10.111, -8.165, -8.032, -5.332, -4.050, -3.526, -2.214, -1.873, -1.573),
    *(-2.064, -2.187, -2.590, -2.957, -3.456, -3.731, -4.297, -4.401, -4.913, -4.987),
    *(-5.526, -5.634, -6.104, -6.199, -6.744, -7.115, -7.626, -7.713, -8.502, -8.725),
    *(-8.165, -7.809),
)
"""Natural logarithm of the share of phrases by their length in notes."""
