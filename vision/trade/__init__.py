"""Trade: tables of gauges and coins with their lookups."""
