"""Scale: where the camera was, and how pixels become millimetres."""
