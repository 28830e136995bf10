"""The result of a task becomes what a person sees, hears or prints."""
