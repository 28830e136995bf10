"""A teaching set as handout, worksheet, answer key, sound and file.

In: a set with its passages and questions. Out: paper, pages, MIDI, a packed set.

``sheets`` lays out a sheet and ``questions`` each kind of question with its answer;
``setting`` moves passages to a key or clef; ``printing`` writes the sheet in any form.
Read first: ``sheets``.
"""
