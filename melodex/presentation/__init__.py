"""The result of a task becomes what a person sees or hears.

In: the records that ``tasks`` return.
Out: text (``text``), JSON and CSV (``data``), ABC, MusicXML and MIDI (``notation``),
pictures of music (``engraving``), pages and paper (``report``), handouts and
worksheets (``lesson``). ``pages`` is the one call for a form that is not text.

Nothing here decides about music. Read first: ``pages``.
"""
