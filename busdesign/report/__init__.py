"""The report: one HTML file that needs nothing else, drawn from finished answers. Nothing is computed here."""
