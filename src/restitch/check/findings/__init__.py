"""One module for each finding; its ``find(survey)`` yields what it finds."""
