"""The local page: a door onto the tasks; no music is decided here."""
