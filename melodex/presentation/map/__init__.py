"""The map of a piece: one strip across the page, to scale in bars.

In: a description.
Out: a picture for page and paper (``drawing``), or lines for a terminal (``terminal``).

Both are drawn from what ``content`` lays out in time; ``strips`` cuts a long piece where
its lines end. ``lanes``, ``contour`` and ``finds`` draw what stands one below the other.
Nothing is said by colour alone: keys have names and hatching, returns have strokes.

Read first: ``content``, then ``drawing``.
"""
