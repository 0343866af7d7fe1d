"""Batch: what many rings say together."""
