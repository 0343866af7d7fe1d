"""Rings: candidates, silhouettes, the fitted torus and its uncertainty."""
