"""The report: one HTML file that opens from disk, prints, and can be mailed."""
