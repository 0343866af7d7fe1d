"""Photo against caliper: which rings to read, whether both agree, and by how much to correct."""
