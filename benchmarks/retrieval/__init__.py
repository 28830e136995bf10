"""Are kin found, by which method, and what does it cost?"""
