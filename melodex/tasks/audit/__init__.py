"""Where a tune comes close to the corpus, and whether that is chance.

In: a tune and a corpus; or a corpus alone. Out: findings in order, each with its notes
and its likelihood.

``audit`` is the task, ``leads`` looks for places worth a closer look window by window and
``stretched`` note against note, ``findings`` lays out what is found there and puts it in
order, ``whole`` compares all tunes of a corpus with one another, ``many`` audits many own
tunes at once. Read first: ``audit``.
"""
