"""Results as text and pictures; nothing here decides or measures."""
