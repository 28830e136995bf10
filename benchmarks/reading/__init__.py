"""Are files read as other readers read them, and how fast?"""
