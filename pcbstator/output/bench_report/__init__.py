"""The bench sheet: pages to measure by."""
