"""A corpus in shards: equal answers, workers here and elsewhere, and what they cost."""
