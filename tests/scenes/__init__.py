"""Renders ring photos whose truth is known exactly."""
