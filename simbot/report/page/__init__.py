"""The page: one HTML file in which runs and studies can be looked at."""
