"""Everything between a photo and numbers about its rings; imports nothing of the user interface."""
