"""Humdrum files with ``**kern`` spines, read by ``reader`` out of the parts of ``walk``.

What goes in is the text of a file, what comes out is one tune for each of its pieces.
``spines`` follows the columns through splits and joins, ``tokens`` reads a note,
``signs`` keys, metres, bar lines and chord symbols, ``bars`` counts bars, ``references``
reads title and makers. The parts are like those of a MusicXML sheet (``common/parts``), so
that the line is chosen as it is there.

Read first: ``walk``.
"""
