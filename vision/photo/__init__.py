"""Photo: bytes to linear light, and whether the picture is fit for measuring."""
