"""All that a person touches: commands, tables, drawings, the printable sheet."""
